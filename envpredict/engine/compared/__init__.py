"""Candidates side by side."""
