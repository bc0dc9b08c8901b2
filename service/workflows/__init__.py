"""One function for each thing a user does: load from the store, call the domain, save."""
