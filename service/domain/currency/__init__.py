"""Published exchange rates, and the check of each new day of them.

Central nouns: `DayRates`, what one source published for a day, and `ExchangeRates`, which converts and records what it
converted with. The room never knows what an amount is for, nor how a feed is read.
"""
