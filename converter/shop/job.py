"""Job files: which section, metal, die, radius and feeding end each layer or run gets. docs/job-file.md.

Every value is looked up on its own, the nearest saying wins: the run by its exact name, the run by
a pattern, its layer by exact name, its layer by a pattern, then ``[default]``. Among patterns the
first in the file wins. Names and patterns compare without regard to case, as layer names do.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields
from fnmatch import fnmatchcase
from typing import Any

from converter.findings import Finding
from converter.model.run import Run
from converter.model.section import Section
from converter.shop.joint import JOINT, JointChoice, joint_choice
from converter.shop.schema import (
    Field,
    Place,
    file_unit,
    flag,
    length,
    named_tables,
    read_table,
    section,
    table,
    tables,
    text,
)
from converter.shop.toml import parse_toml, read_toml

CHOICE = {
    "section": Field(section),
    "die": Field(text),
    "clr": Field(length),
    "metal": Field(text),
    "reverse": Field(flag),
}
JOB = {
    "units": Field(lambda raw, place: raw),
    "job": Field(table({"name": Field(text)})),
    "default": Field(table(CHOICE)),
    "layer": Field(named_tables(CHOICE), default={}),
    "run": Field(named_tables(CHOICE), default={}),
    "joint": Field(tables(JOINT), default=()),
}


@dataclass(frozen=True, slots=True)
class Choice:
    """What a job file says of one run or layer; None where it says nothing.

    Attributes:
        section: its section.
        die: name of its die.
        clr: radius of its sharp corners, in mm.
        metal: name of its metal.
        reverse: whether it is fed from its other end.
    """

    section: Section | None = None
    die: str | None = None
    clr: float | None = None
    metal: str | None = None
    reverse: bool | None = None


_VALUES = tuple(one.name for one in fields(Choice))


@dataclass(frozen=True, slots=True)
class Job:
    """A job file.

    Attributes:
        name: of the job, or ''.
        default: for every run that nothing nearer speaks of.
        layers, runs: name or pattern -> choice, in the order of the file.
        source: the file as the user named it.
        joints: what it says of single ends, in the order of the file; of several the first wins.
    """

    name: str = ""
    default: Choice = Choice()
    layers: Mapping[str, Choice] = field(default_factory=dict)
    runs: Mapping[str, Choice] = field(default_factory=dict)
    source: str = ""
    joints: tuple[JointChoice, ...] = ()

    def for_run(self, name: str) -> Choice:
        """What the file says of the run itself."""
        return merged(matching(self.runs, name))

    def for_layer(self, layer: str | None) -> Choice:
        """What the file says of a layer; nothing for no layer."""
        return Choice() if layer is None else merged(matching(self.layers, layer))

    def choice(self, run: Run) -> Choice:
        """Everything said of a run: of itself, then of its layer, then by default."""
        return merged([self.for_run(run.name), self.for_layer(run.layer), self.default])


def matching(table: Mapping[str, Choice], name: str) -> list[Choice]:
    """The choices that a name meets, the nearest first: exact, then patterns in order."""
    key = name.casefold()
    exact = [choice for pattern, choice in table.items() if pattern.casefold() == key]
    return exact + [
        choice
        for pattern, choice in table.items()
        if pattern.casefold() != key and fnmatchcase(key, pattern.casefold())
    ]


def merged(choices: Iterable[Choice]) -> Choice:
    """One choice of many: of each value the first that is said.

    Die and radius go together: the first choice that says either says both, so that a die named
    for one run is not held against a radius meant for all.
    """
    values: dict[str, Any] = {}
    for choice in choices:
        settled = "die" in values or "clr" in values
        for name in _VALUES:
            value = getattr(choice, name)
            if value is not None and not (settled and name in ("die", "clr")):
                values.setdefault(name, value)
    return Choice(**values)


def unmatched(job: Job | None, runs: Iterable[Run], layer_sections: Iterable[str] = ()) -> list[Finding]:
    """A warning for each name or pattern that no run or layer of the drawing meets.

    Args:
        job: the job file, or None.
        runs: of the drawing.
        layer_sections: layers that a section option names.
    """
    runs = list(runs)
    names = {run.name.casefold() for run in runs}
    layers = {run.layer.casefold() for run in runs if run.layer is not None}
    asked = [("The section option names layer", pattern, layers, "") for pattern in layer_sections]
    if job is not None:
        asked += [("The job file names run", pattern, names, job.source) for pattern in job.runs]
        asked += [("The job file names layer", pattern, layers, job.source) for pattern in job.layers]
    return [
        Finding(
            "job-unmatched",
            f"{what} {pattern!r}, which the drawing does not have.",
            cure=f"Check the spelling in {source}." if source else "Check the spelling.",
        )
        for what, pattern, known, source in asked
        if not meets(pattern, known)
    ]


def meets(pattern: str, names: Iterable[str]) -> bool:
    """Whether a name or pattern fits any of some casefolded names."""
    low = pattern.casefold()
    return any(name == low or fnmatchcase(name, low) for name in names)


def load_job(path: str | os.PathLike[str]) -> Job:
    """The job that a file describes.

    Raises:
        ReadError: the file cannot be read.
        ShopError: it is not TOML (line and column are said) or a key is wrong (its path is said).
    """
    return _job(read_toml(path, "job file"), os.fspath(path))


def job_from_text(content: str, name: str = "job file") -> Job:
    """The job that TOML text describes; ``name`` stands for the file in messages."""
    return _job(parse_toml(content, name, "job file"), name)


def _job(raw: dict[str, Any], file: str) -> Job:
    values = read_table(raw, JOB, Place(file, unit=file_unit(raw, Place(file))))
    return Job(
        name=(values["job"] or {}).get("name") or "",
        default=Choice(**values["default"]) if values["default"] else Choice(),
        layers=_choices(values["layer"], Place(file, "layer")),
        runs=_choices(values["run"], Place(file, "run")),
        source=file,
        joints=tuple(joint_choice(one, Place(file, f"joint[{i + 1}]")) for i, one in enumerate(values["joint"])),
    )


def _choices(values: dict[str, dict[str, Any]], place: Place) -> dict[str, Choice]:
    seen: dict[str, str] = {}
    for key in values:
        if not key.strip():
            place.key(key).fail("needs a name")
        other = seen.setdefault(key.casefold(), key)
        if other != key:
            place.key(key).fail(f"is said twice: names compare without regard to case, and {other!r} is there too")
    return {key: Choice(**value) for key, value in values.items()}
