"""What can hurt whom, said with its source and left to local rules.

Central nouns: a `Polymer` with its temperatures, the `MachineKind` of a machine, a `Caution` and the `DeclaredUse` that
calls for one. The room never knows a product, a cost or a price.
"""
