"""Exchange rates, and the feed that they come from."""
