"""Why recorded batches cost what they did, and what they earned."""
