"""From levels with scatter to chances and verdicts, whatever the level is of."""
