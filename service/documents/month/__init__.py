"""A month as page and picture."""
