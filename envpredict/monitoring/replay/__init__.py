"""Records run through a plan's triggers, oldest first, as events; a growing file can be followed."""
