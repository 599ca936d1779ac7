"""The law of a site: what trial records of the first piles tell of a published law on this ground."""
