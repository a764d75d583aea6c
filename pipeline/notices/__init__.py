"""Notices to the manager: what is wrong now, what of it was told, and so what is to be said today. Pure."""
