"""How the contract is generated: schemas derived from the domain, examples, and shared parts."""
