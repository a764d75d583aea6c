"""From warehouse rows to pages: the summary document, its sentences, charts, HTML and PDF."""
