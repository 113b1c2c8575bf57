"""Bundles that others can check: raw logs, records and results, with checksums and a signature."""
