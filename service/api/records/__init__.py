"""Batches that were made."""
