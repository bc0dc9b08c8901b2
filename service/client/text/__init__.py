"""Answers of the service as a person reads them in a terminal; every figure is the service's own."""
