"""How a printed sheet is told from an older one: a mark from what went in, and the date.

The mark is the start of a SHA-256 over the input, the shop file, the job file and the program's version:
the same input gives the same mark on every day, and any change to it another one.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import UTC, date, datetime
from hashlib import sha256

from converter import __version__
from converter.errors import WriteError
from converter.exporters.registry import ExportJob

#: Letters and digits of the mark that are shown: of 16^10 there is no chance meeting.
SHOWN = 10


@dataclass(frozen=True, slots=True)
class Revision:
    """Mark and date of a sheet.

    Attributes:
        mark: ten hexadecimal digits.
        made: the date.
    """

    mark: str
    made: date

    @property
    def text(self) -> str:
        """``3f09c2a1b7 of 2026-03-09``."""
        return f"{self.mark} of {self.made.isoformat()}"


def revision_of(job: ExportJob) -> Revision:
    """The revision of a job: of what it was made from, and of what was made of it.

    Bend tables, sections and dies are part of the mark, so that options that change a number change it too.

    Raises:
        WriteError: the input or the shop file is gone or cannot be read.
    """
    digest = sha256(__version__.encode())
    shop = job.cope.shop
    paths = [str(path) for path in job.inputs] + ([shop.source] if shop is not None and shop.source else [])
    for path in paths:
        try:
            with open(path, "rb") as file:
                digest.update(sha256(file.read()).digest())
        except OSError as error:
            raise WriteError(
                f"{path!r} cannot be read again for the revision mark: {error.strerror}.", file=path
            ) from error
    return Revision(digest.hexdigest()[:SHOWN], today())


def today() -> date:
    """The date that goes on the sheet: today's, or the one of SOURCE_DATE_EPOCH (seconds since 1970, UTC)."""
    fixed = os.environ.get("SOURCE_DATE_EPOCH", "")
    if fixed.isdigit():
        return datetime.fromtimestamp(int(fixed), UTC).date()
    return date.today()
