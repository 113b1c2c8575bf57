"""Property tests look at the same cases on every run: a red run is a change, not a draw.

Set HYPOTHESIS_PROFILE=searching to look for new ones.
"""

import os
from collections.abc import Iterator

import pytest
from argon2 import PasswordHasher
from hypothesis import settings

settings.register_profile("settled", derandomize=True, deadline=None)
settings.register_profile("searching", max_examples=500, deadline=None)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "settled"))


@pytest.fixture(autouse=True, scope="session")
def product_hasher() -> Iterator[PasswordHasher]:
    """Let passwords cost next to nothing here; gives the hasher that the product uses."""
    from service.accounts import passwords

    cheap = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    with pytest.MonkeyPatch.context() as patch:
        product = passwords._HASHER
        patch.setattr(passwords, "_HASHER", cheap)
        passwords.nobody.cache_clear()
        yield product
    passwords.nobody.cache_clear()


@pytest.fixture(autouse=True, scope="module")
def kept_while_its_file_runs(request: pytest.FixtureRequest) -> Iterator[None]:
    """Let go of what a file kept for its own tests: simulated plants are tens of megabytes each."""
    yield
    for kept in vars(request.module).values():
        if hasattr(kept, "cache_clear") and kept.__module__ == request.module.__name__:
            kept.cache_clear()
