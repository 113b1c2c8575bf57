"""Visits: planned, worked through on a phone with or without a connection, put on record."""
