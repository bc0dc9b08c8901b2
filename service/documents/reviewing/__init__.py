"""What records say, for people: variances as a page, as PDF and as a picture."""
