"""How products are made, and what a batch of them takes in physical quantities.

Central nouns: a `Product` with its operations, the resources it names, and the `BillOfResources` of a batch. The room
never knows money: no rate, no cost, no price.
"""
