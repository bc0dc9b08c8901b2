"""What a customer is asked for a batch, and what becomes of the quotation.

Central nouns: a `QuotationRequest`, the `QuotationBasis` of what holds on its day, and the `QuotationFigures` that
follow from both alone. The room never knows listings or months, nor how a quotation is printed.
"""
