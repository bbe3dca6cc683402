"""What all tests share."""

from __future__ import annotations

import logging
import signal

from hypothesis import HealthCheck, settings

# the same examples on every run, so that a red suite means a change; --hypothesis-profile=explore looks for new ones;
# how long an example takes depends on what else the machine does, and says nothing
_ANY_SPEED = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow]}
settings.register_profile("steady", derandomize=True, **_ANY_SPEED)
settings.register_profile("explore", derandomize=False, **_ANY_SPEED)
settings.load_profile("steady")

# ezdxf logs names with undecodable bytes as lone surrogates; pytest would collect them into its
# reports, which xdist cannot send between its processes
logging.getLogger("ezdxf").setLevel(logging.CRITICAL)

# a suite that is started in the background of a shell is handed on that Ctrl-C is ignored, and so are its children
if signal.getsignal(signal.SIGINT) == signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)
