"""Register, read and retire things, and their dated rates."""
