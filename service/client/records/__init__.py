"""Records of batches: asked, sent, and why they cost more or less."""
