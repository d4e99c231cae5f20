"""How property tests look, everywhere: the same examples in every run, and no clock held against them.

`make soak` looks for new ones.
"""

import os

from hypothesis import HealthCheck, settings

settings.register_profile(
    "patient",
    deadline=None,
    derandomize="COLDSIDE_EXPLORE" not in os.environ,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("patient")
