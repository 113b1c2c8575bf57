"""How long samples and raw files are kept, and what becomes of older ones."""
