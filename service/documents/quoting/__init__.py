"""A quotation for its customer: page, PDF, UBL and text."""
