"""From a cost to a price, and from a price back to what is kept of it.

Central nouns: a `PricingPolicy`, the `Aim` that it becomes in one sale, and the `Price` found. The room takes unit
costs as they are; it never knows how they came about, nor whom the price is for.
"""
