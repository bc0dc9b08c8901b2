"""What records say: why batches cost more or less than their good units should have.

Its place among the rooms of the domain, and what it may import: DEVELOPERS.md.
"""
