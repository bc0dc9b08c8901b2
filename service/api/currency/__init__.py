"""Exchange rates: entered, imported, fetched, confirmed."""
