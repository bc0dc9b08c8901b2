"""What a workshop's owner runs: it asks a running service over HTTP, and knows nothing else of the service."""
