"""Runs of any size: tiles of receptors, computed apart from one another, kept, shared out and put together again."""
