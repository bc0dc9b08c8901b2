"""Listings and their prices, and repricing when rates change."""
