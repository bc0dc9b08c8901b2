"""Charts from Vega-Lite specifications, and their scales."""
