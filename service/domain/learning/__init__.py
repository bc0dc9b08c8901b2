"""What recorded batches teach: a product's facts as they really are, proposals, and what a batch may come to cost.

Its place among the rooms of the domain, and what it may import: DEVELOPERS.md.
"""
