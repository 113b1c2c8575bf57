"""One file for each change, in order."""
