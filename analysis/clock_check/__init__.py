"""What the sun says of the logger's clock: day by day, and over the whole log."""
