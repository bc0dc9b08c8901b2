"""The price of a piece, by how it is sold."""
