"""Record what really happened to batches."""
