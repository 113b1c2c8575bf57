"""Changes of the tables, applied at start."""
