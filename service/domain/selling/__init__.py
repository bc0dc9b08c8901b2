"""What stands between a price and what is left of it: taxes, fees, conversion, shipping charges.

Central nouns: a `Channel` with its fees, a `Tax`, and the `Sale` that both become. The room never knows what a piece
costs, nor how its price is found.
"""
