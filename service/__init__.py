"""The shell: the only place with input and output."""
