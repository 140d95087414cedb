"""What all tests share."""

import os

from hypothesis import settings

# A busy machine must not fail a test, and a build must not find by chance what the next one does not.
settings.register_profile("steady", deadline=None, derandomize="CI" in os.environ)
settings.load_profile("steady")
