"""What the records of a product teach: read, tried and taken over."""
