"""What a batch costs: its quantities times the rates of a date.

Central nouns: a `RateCard` of dated rates, the `CostSheet` of a batch, and the `RateTable` that costs many products at
once. The room never knows who buys, at what price, or how a piece is sent.
"""
