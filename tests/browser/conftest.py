"""What all tests in a browser share."""

import importlib.util

import pytest


@pytest.fixture(autouse=True, scope="session")
def patience() -> None:
    """Wait for pages as long as a busy machine needs: no test hangs on the clock."""
    if importlib.util.find_spec("playwright"):
        from playwright.sync_api import expect

        expect.set_options(timeout=30_000)
