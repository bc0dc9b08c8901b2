"""What really happened: batches that were made, and what they took.

Its place among the rooms of the domain, and what it may import: DEVELOPERS.md.
"""
