"""Pugmill: what a workshop's product costs, what to ask for it, and a quotation that can be re-derived."""
