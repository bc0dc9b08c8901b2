"""Quote a batch, find quotations again, and what becomes of them."""
