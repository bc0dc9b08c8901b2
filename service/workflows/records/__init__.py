"""Record what really happened to a batch, and compare it with what should have happened."""
