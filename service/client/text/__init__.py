"""Answers of the service as text for a terminal, with the service's figures unchanged."""
