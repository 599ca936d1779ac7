"""What noise rules judge: sound over clock time, and its findings."""
