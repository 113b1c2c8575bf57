"""Visits as people see them: the list, the page on the phone, the record."""
