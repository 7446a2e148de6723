"""What all tests share: tests are repeatable, and a blocked event loop is seen."""

import os

from hypothesis import settings

# The same examples on every run; a long search is asked for with HYPOTHESIS_PROFILE=search.
settings.register_profile("repeatable", derandomize=True, deadline=None, max_examples=60)
settings.register_profile("search", deadline=None, max_examples=2000)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "repeatable"))
