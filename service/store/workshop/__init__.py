"""Workshops with their keys, the audit trail, answers kept for retries, and moving."""
