"""Hostile input: hypothesis in the suite, atheris by hand."""
