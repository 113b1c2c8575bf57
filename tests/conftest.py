"""What every run of the tests is like: the same cases, cheap passwords, nothing done twice.

Property tests look at the same cases on every run: a red run is a change, not a draw. Set
HYPOTHESIS_PROFILE=searching to look for new ones.
"""

import gc
import os
import sys
from collections.abc import Iterator
from typing import Any

import pytest
from argon2 import PasswordHasher
from hypothesis import settings

# Several workers and some forty servers read what one of them compiled, also where the environment
# would have each compile all modules for itself. Git ignores what is left beside them.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
# As the command has it: the matrices are small, and threads would only wait for each other.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# Each look for garbage goes through what hundreds of tests brought along.
gc.set_threshold(10_000)

settings.register_profile("settled", derandomize=True, deadline=None)
settings.register_profile("searching", max_examples=500, deadline=None)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "settled"))


def pytest_collection_finish() -> None:
    """Have no garbage looked for among what was collected: it stays until the end."""
    gc.freeze()


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


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Give a file to one worker as a whole, as `loadfile` does, and also files of one server."""
    if config.getvalue("dist") != "loadfile":
        return None
    from xdist.scheduler import LoadFileScheduling

    class OneServedSite(LoadFileScheduling):
        def _split_scope(self, nodeid: str) -> str:
            file = super()._split_scope(nodeid)
            return "one served site" if file.endswith("_in_a_browser.py") else file

    return OneServedSite(config, log)
