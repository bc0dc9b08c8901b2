"""Mathematics without a word of the trade; skip it at first.

Central nouns: a `Function` of straight segments with its `Interval`s, a `Programme` of units within limits, a `Grid` of
bodies in a box. The room never knows what is priced, made or packed, nor in which currency.
"""
