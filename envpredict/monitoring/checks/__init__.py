"""The audit's checks, one small function per rule; modules here are found by themselves."""
