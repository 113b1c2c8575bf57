"""The field check after ISO 24194: valid hours in stage one, the balance of a year in stage two."""
