"""What holds for every test."""

from hypothesis import settings

settings.register_profile("kit", deadline=None)  # how long an example takes on a busy machine proves nothing
settings.load_profile("kit")
