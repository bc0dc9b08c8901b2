"""Quotations, their life, and their documents for the customer."""
