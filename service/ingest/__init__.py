"""Logs and gateway rows on their way into the store."""
