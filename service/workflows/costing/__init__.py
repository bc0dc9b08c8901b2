"""What a batch costs, with what it is computed from, and the rates of a day."""
