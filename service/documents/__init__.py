"""Documents that a person reads."""
