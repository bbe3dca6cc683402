"""What all tests share."""

from __future__ import annotations

import logging

# ezdxf logs names with undecodable bytes as lone surrogates; pytest would collect them into its
# reports, which xdist cannot send between its processes
logging.getLogger("ezdxf").setLevel(logging.CRITICAL)
