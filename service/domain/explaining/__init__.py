"""How the figures of a cost sheet came about, formula by formula.

Central nouns: a traced `Decimal` that remembers its operation, a `formula`, and the `Workbook` of a sheet's sections.
The room never computes a cost itself: it runs the functions of costing with traced numbers.
"""
