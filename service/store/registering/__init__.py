"""What is registered, its rates, and what uses what."""
