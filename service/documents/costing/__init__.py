"""A cost sheet with every formula, and its chart."""
