"""For whoever runs the service: whether it is up, what it counts, what it logs."""
