"""Looks back on recorded batches: why they cost more or less than they should have, and what they earned.

Its place among the rooms of the domain, and what it may import: DEVELOPERS.md.
"""
