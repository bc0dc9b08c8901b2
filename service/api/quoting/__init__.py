"""A customer's batch: quotations, what becomes of them, and their papers."""
