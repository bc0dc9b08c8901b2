"""Bills of resources, cost sheets and the rate card."""
