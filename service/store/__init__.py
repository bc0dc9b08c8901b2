"""Tables and queries: rows to domain values and back. Every query is within one workshop."""
