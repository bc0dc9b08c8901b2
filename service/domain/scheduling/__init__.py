"""When work is done, and how much of it there is time for.

Central nouns: a `Shift`, the hours in which something works; a `LeadTime`, when an order could be ready; a `Load`, what
a plan takes of a resource. The room never knows money.
"""
