"""Workshops and their keys, the audit trail, answers stored for retries, and moving a workshop."""
