"""Exact numbers, money, and fields that check themselves: the words of no trade in particular.

Central nouns: `Money`, a `@declared` value, and `exactly`, the arithmetic that all figures are computed with. The room
never knows what a figure is about: no product, no price, no rate.
"""
