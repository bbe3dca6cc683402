"""A browser for the files that look at the job sheet."""

from __future__ import annotations

import pytest
from sheet_tools import browser


@pytest.fixture(scope="module")
def chromium():
    with browser() as one:
        yield one
