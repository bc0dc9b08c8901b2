"""A cost sheet with every formula written out, and its picture."""
