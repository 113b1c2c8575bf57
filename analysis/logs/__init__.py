"""Loggers' files: bytes in, values in canonical units on UTC stamps out."""
