"""What records say: why batches cost more or less than they should, what they teach, and what a batch risks.

Its place among the rooms of the domain, and what it may import: DEVELOPERS.md.
"""
