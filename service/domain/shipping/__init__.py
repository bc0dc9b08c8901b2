"""Parcels and pallets: what they hold, which a service takes, and what they cost.

Central nouns: a `ShippingService` with its boxes, a `ShippingRate` by zone and weight, and the `ShippingEstimate` of a
batch. The room never knows what making the pieces costs, nor who pays for sending them.
"""
