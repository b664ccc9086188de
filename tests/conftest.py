"""For all tests: no test measures time, so made-up examples have no deadline either."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
