"""What the logs of a solar thermal system say: pure functions from arrays to results."""
