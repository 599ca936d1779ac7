"""What a run leaves behind: one module per output; nothing is predicted here."""
