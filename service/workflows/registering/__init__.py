"""Register, read, retire, and what things cost from a day on."""
