"""What to ask for a piece, by the way it is sold."""
