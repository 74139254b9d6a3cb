"""What every test stands on."""

from hypothesis import settings

# The same examples on every machine and every run, and no verdict by the clock: a slow, shared
# machine is no fault of the code.
settings.register_profile("steady", derandomize=True, deadline=None, max_examples=60)
settings.load_profile("steady")
