"""What belongs to the customer: what they agreed to, what is held of them, and its erasure."""
