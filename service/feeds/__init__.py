"""Data fetched from outside, trusted only after strict parsing."""
