"""Ground vibration from every pile to every receptor, into buildings, and its findings."""
