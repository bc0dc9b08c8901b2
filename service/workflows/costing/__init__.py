"""What a batch costs, its workings, and the rates of a day."""
