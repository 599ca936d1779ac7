"""What the user brings: a folder with scenario.toml and layers, read and checked in one pass."""
