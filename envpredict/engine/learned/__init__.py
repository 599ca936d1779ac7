"""What trial records of the site have taught, and its use."""
