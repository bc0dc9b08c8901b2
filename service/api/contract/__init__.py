"""How the contract is made: operations' schemas read off the domain, examples, and the parts that they share."""
