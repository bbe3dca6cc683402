"""What all tests share."""

from __future__ import annotations

import logging

from hypothesis import settings

# the same examples on every run, so that a red suite means a change; --hypothesis-profile=explore looks for new ones
settings.register_profile("steady", derandomize=True)
settings.register_profile("explore", derandomize=False)
settings.load_profile("steady")

# ezdxf logs names with undecodable bytes as lone surrogates; pytest would collect them into its
# reports, which xdist cannot send between its processes
logging.getLogger("ezdxf").setLevel(logging.CRITICAL)
