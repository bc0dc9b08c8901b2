"""HTTP for all operations: negotiation, authentication, problems, retries, paging, request bodies."""
