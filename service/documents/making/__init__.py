"""Papers for those who make a batch."""
