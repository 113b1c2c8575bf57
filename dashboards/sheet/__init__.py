"""The customer's savings sheet: one page in the customer's language, for screen, print and PDF."""
