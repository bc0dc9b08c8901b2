"""Batches that were made, and the facts of their day."""
