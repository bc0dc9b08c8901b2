"""Exchange rates: entering, importing, fetching, confirming, converting."""
