"""For the operator: health, metrics, logs."""
