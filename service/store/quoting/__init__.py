"""Quotations, and what becomes of them."""
