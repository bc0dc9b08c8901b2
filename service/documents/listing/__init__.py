"""The price list, price changes, and prices over time."""
