"""The only place that reads the clock: what date goes into a file, so that the same job gives the same bytes.

``SOURCE_DATE_EPOCH`` (reproducible-builds.org/specs/source-date-epoch), seconds since 1970 in UTC, stands for now
wherever it is set.
"""

from __future__ import annotations

import os
from datetime import UTC, date, datetime

from converter.errors import OptionError
from converter.quoting import quoted

VARIABLE = "SOURCE_DATE_EPOCH"
#: In files whose format asks for a time and for which none was set; the PDF library writes the same into its own.
UNSET = datetime(2000, 1, 1, tzinfo=UTC)
#: 9999-12-31T23:59:59Z: later ones have no date.
LAST = 253_402_300_799


def fixed_time() -> datetime | None:
    """The time of ``SOURCE_DATE_EPOCH``, in UTC; None where it is not set or empty.

    Raises:
        OptionError: it is no whole number of seconds from 1970 to the end of the year 9999.
    """
    text = os.environ.get(VARIABLE, "")
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and len(text.lstrip("0")) <= 12 and int(text) <= LAST):
        raise OptionError(
            f"The environment variable {VARIABLE} is {quoted(text)}, not a whole number of seconds since 1970 (UTC): "
            "correct it, or unset it."
        )
    return datetime.fromtimestamp(int(text), UTC)


def sheet_date() -> date:
    """The date that people are shown: today's here, or that of ``SOURCE_DATE_EPOCH`` in UTC.

    Raises:
        OptionError: see `fixed_time`.
    """
    fixed = fixed_time()
    return date.today() if fixed is None else fixed.date()


def clock_time() -> str:
    """The time of day here, for messages: ``14:02:11``."""
    return datetime.now().strftime("%H:%M:%S")


def file_time() -> str:
    """The time that goes into files which must name one, ISO 8601 in UTC: never now (`UNSET`).

    Raises:
        OptionError: see `fixed_time`.
    """
    return (fixed_time() or UNSET).strftime("%Y-%m-%dT%H:%M:%SZ")
