"""Pictures from specifications, and their scales."""
