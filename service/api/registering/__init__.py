"""What a workshop registers: one blueprint for each collection."""
