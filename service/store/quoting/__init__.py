"""Quotations and their life."""
