"""Online sale: listings' price sheets, the price list, repricings, prices over time."""
