"""Repricings, and the prices that they put in force."""
