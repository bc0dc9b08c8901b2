"""What every operation has in common over HTTP: negotiation, keys, problems, retries, paging, reading."""
