"""One number traced back to where it came from."""
