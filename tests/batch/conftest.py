"""Bays that the tests of batches share, since starting one takes longer than a drawing."""

from __future__ import annotations

import pytest

from converter.batch import local_bays


@pytest.fixture(scope="session")
def bays():
    """Two drawings at once."""
    with local_bays(2) as executor:
        yield executor
