"""What to ask for a piece."""
