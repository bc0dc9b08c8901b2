"""Online sale: price sheets of listings, the price list, repricings, price histories."""
