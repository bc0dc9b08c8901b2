"""Products offered online, piece by piece, and their prices when costs change.

Central nouns: a `Listing`, the `Decision` about its price in a repricing, and the entries of its price history. The
room never knows quotations or months, nor where prices are stored.
"""
