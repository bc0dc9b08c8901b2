"""A quotation for its customer: as page, PDF, UBL and text, all of one view."""
