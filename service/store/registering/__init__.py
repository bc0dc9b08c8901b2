"""What is registered, its rates, and its references."""
