"""Webhooks: telling other programs what happened, signed, again until they took it."""
