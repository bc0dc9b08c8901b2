"""Whether a month pays: its contribution, its fixed costs and the time it takes.

Central nouns: a `MonthPlan`, the `Month` it becomes when its products are costed and priced, and the `MonthStatement`
that is shown. The room never knows a customer or a price in force.
"""
