"""Property tests run on machines that are busy with other things, so no single example has a deadline."""

from hypothesis import settings

settings.register_profile("patient", deadline=None)
settings.load_profile("patient")
