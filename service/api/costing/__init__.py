"""What a batch consumes and costs, and what to ask for it; the rates of a day."""
