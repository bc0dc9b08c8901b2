"""Published exchange rates, and the files that they came in."""
