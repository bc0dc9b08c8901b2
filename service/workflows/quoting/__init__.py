"""Quote a batch, read quotations, and change their state."""
