"""Benchmarks: each module measures one thing and says whether its goal, written beside it, holds."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
"""Before numpy is loaded: threads of a library would count as, and disturb, what is measured."""
