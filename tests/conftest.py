"""Property tests look at the same cases on every run: a red run is a change, not a draw.

Set HYPOTHESIS_PROFILE=searching to look for new ones.
"""

import os

from hypothesis import settings

settings.register_profile("settled", derandomize=True, deadline=None)
settings.register_profile("searching", max_examples=500, deadline=None)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "settled"))
