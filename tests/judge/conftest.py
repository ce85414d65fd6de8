"""Property tests here draw the same cases every time, and a busy machine is no failure."""

from hypothesis import settings

settings.register_profile("judge", deadline=None, derandomize=True)
settings.load_profile("judge")
