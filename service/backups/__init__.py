"""Backups: everything that the service keeps, as one file, and back again."""
