"""One module per reference page."""
