"""How a printed sheet is told from an older one: a mark from what went in and what came out, and the date.

The mark is the start of a SHA-256 over the bytes of the input, the shop file and the job file, over every
number that was worked out from them, and over the program's version. The same job gives the same mark on every
day, on every machine, under every file name and in either unit; whatever changes a number changes it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from math import floor
from typing import Any

from converter import __version__
from converter.dates import sheet_date
from converter.disk.reading import open_to_read
from converter.errors import WriteError
from converter.exporters.data.cope_json import cope_document, joint_value
from converter.exporters.data.setup_json import setup_document
from converter.exporters.data.table_json import table_document
from converter.findings import Finding
from converter.job import Job, once_per_job
from converter.joints.model import Joint
from converter.quoting import LONGEST_PATH, quoted
from converter.units import in_unit

#: Letters and digits of the mark that are shown: of 16^10 there is no chance meeting.
SHOWN = 10
#: Numbers count in steps of this (mm, degrees), far below what is shown. No number that people type lies on the
#: edge of a step, so that the last digit of another machine's arithmetic changes nothing.
_STEP, _EDGE = 1e-4, 0.4142135


@dataclass(frozen=True, slots=True)
class Revision:
    """Mark and date of a sheet.

    Attributes:
        mark: ten hexadecimal digits.
        issued: the date.
    """

    mark: str
    issued: date

    @property
    def text(self) -> str:
        """``3f09c2a1b7 of 2026-03-09``."""
        return f"{self.mark} of {self.issued.isoformat()}"


def revision_of(jobs: Sequence[Job]) -> Revision:
    """The revision of a sheet: of what its jobs were made from, and of what was made of them.

    Bend tables, set-ups and copes are part of the mark, so that options that change a number change it too. Of several
    jobs it is the mark of their marks, in their order.

    Args:
        jobs: at least one.

    Raises:
        WriteError: the shop file or the job file is gone or cannot be read.
        OptionError: SOURCE_DATE_EPOCH is no date.
    """
    marks = [_mark_of(job) for job in jobs]
    mark = marks[0] if len(marks) == 1 else sha256(" ".join(marks).encode()).hexdigest()
    return Revision(mark[:SHOWN], sheet_date())


def job_heading(job: Job, stem: str) -> str:
    """What a job is called on paper: the name that its job file gives it, else ``stem``."""
    return job.job_file.name if job.job_file is not None and job.job_file.name else stem


@once_per_job
def _mark_of(job: Job) -> str:
    """The whole mark of one job."""
    shop, plan = job.shop, job.job_file
    digest = sha256(__version__.encode())
    _add(digest, job.drawing.digest)
    for path in (shop.source, plan.source if plan else ""):
        _add(digest, _file(path) if path else "")
    _add(digest, canonical_text(_numbers(job)))
    return str(digest.hexdigest())


def _add(digest: Any, text: str) -> None:
    """One more part, its length first, so that no two lists of parts run into one."""
    data = text.encode("utf-8", "surrogatepass")
    digest.update(f"{len(data)}:".encode())
    digest.update(data)


def _file(path: str) -> str:
    try:
        with open_to_read(path) as file:
            return sha256(file.read()).hexdigest()
    except OSError as error:
        raise WriteError(
            f"{quoted(path, LONGEST_PATH)} cannot be read again for the revision mark ({error.strerror}): put it back.",
            file=path,
        ) from error


def _numbers(job: Job) -> list[Any]:
    """Everything with a number in it that a sheet shows, as plain values."""
    copes = job.copes
    return [
        table_document("", None, job.tubes),
        setup_document("", "", job.setups),
        [short_joint(joint) for joint in copes.joints],
        cope_document("", (), copes.lengths),
        [[tube.metal, tube.die] for tube in job.tubes],
        _verdicts(job.findings),
    ]


def short_joint(joint: Joint) -> dict[str, Any]:
    """A joint as plain values; of its profile every 15 degrees, from which the rest follows."""
    value = joint_value(joint)
    return {**value, "profile": value["profile"][::30]}


def _verdicts(findings: Iterable[Finding]) -> list[Any]:
    """Findings without their words, which are in one unit or the other."""
    return [[f.code, f.severity, f.tube, f.bend, f.measured, f.limit] for f in findings]


def canonical_text(value: Any) -> str:
    """Plain values as one text: keys in order, numbers in steps of 0.0001, texts in one unit."""
    if isinstance(value, dict):
        return "{" + ",".join(f"{key}:{canonical_text(value[key])}" for key in sorted(value)) + "}"
    if isinstance(value, (list, tuple)):
        return "[" + ",".join(map(canonical_text, value)) + "]"
    if isinstance(value, float):
        return str(floor(value / _STEP + _EDGE))
    return repr(in_unit(value, "mm") if isinstance(value, str) else value)
