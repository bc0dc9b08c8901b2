"""Files that the commands read and write: orders, plans, rates, and whatever is written whole or not at all."""
