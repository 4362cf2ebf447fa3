"""Settings of the property tests of this room."""

from hypothesis import settings

# A time limit a case would fail on a busy machine and say nothing of the code.
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")
