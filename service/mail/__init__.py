"""Mails: the outbox, what a message looks like, and how it leaves."""
