"""The sampling programme on paper: which pots to read, drawn by lot from the site's map of benches."""
