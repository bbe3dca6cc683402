"""Job files: which section, metal, die, radius and feeding end each layer or run gets. docs/job-file.md.

Every value is looked up on its own, the nearest saying wins: the run by its exact name, the run by
a pattern, its layer by exact name, its layer by a pattern, then ``[default]``. Among patterns the
first in the file wins. Names and patterns compare without regard to case, as layer names do.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any

from converter.findings import Finding
from converter.model.run import Run
from converter.model.section import Section
from converter.names import fits, folded
from converter.quoting import quoted
from converter.shop.consistency import check_stock
from converter.shop.joint import JOINT, JointChoice, joint_choice
from converter.shop.model import Shop, Stick
from converter.shop.schema import (
    Field,
    ListOfTables,
    OneTable,
    Place,
    choice,
    file_unit,
    flag,
    length,
    named_tables,
    read_table,
    section,
    text,
)
from converter.shop.stock import STOCK
from converter.shop.toml import parse_toml, read_toml

CHOICE = {
    "section": Field(section),
    "die": Field(text),
    "clr": Field(length),
    "metal": Field(text),
    "reverse": Field(flag),
    "refit": Field(flag),
    "corner": Field(choice("mitre", "bend")),
    "on_flat": Field(choice("square", "cope")),
}
JOB = {
    "units": Field(lambda raw, place: raw),
    "job": Field(OneTable({"name": Field(text)})),
    "default": Field(OneTable(CHOICE)),
    "layer": Field(named_tables(CHOICE), default={}),
    "run": Field(named_tables(CHOICE), default={}),
    "joint": Field(ListOfTables(JOINT), default=()),
    "stock": Field(ListOfTables(STOCK), default=()),
}


@dataclass(frozen=True, slots=True)
class JobEntry:
    """What a job file says of one run or layer; None where it says nothing.

    Attributes:
        section: its section.
        die: name of its die.
        clr: radius of its sharp corners, in mm.
        metal: name of its metal.
        reverse: whether it is fed from its other end.
        refit: whether bends that no die makes are bent on its die.
        corner: 'mitre' or 'bend': how its sharp corners are made.
        on_flat: 'square' or 'cope': how an end that lands on a flat is cut (sawn, or around its radii).
    """

    section: Section | None = None
    die: str | None = None
    clr: float | None = None
    metal: str | None = None
    reverse: bool | None = None
    refit: bool | None = None
    corner: str | None = None
    on_flat: str | None = None


_VALUES = tuple(one.name for one in fields(JobEntry))
#: Most runs are spoken of by no name: what is said of them is this very value, which is quick to tell.
UNSAID = JobEntry()


@dataclass(frozen=True, slots=True)
class JobFile:
    """A job file.

    Attributes:
        name: of the job, or ''.
        default: for every run that nothing nearer speaks of.
        layers, runs: name or pattern -> choice, in the order of the file.
        source: the file as the user named it.
        joints: what it says of single ends, in the order of the file; of several the first wins.
        stock: bars of this job, besides those of the shop file.
    """

    name: str = ""
    default: JobEntry = UNSAID
    layers: Mapping[str, JobEntry] = field(default_factory=dict)
    runs: Mapping[str, JobEntry] = field(default_factory=dict)
    source: str = ""
    joints: tuple[JointChoice, ...] = ()
    stock: tuple[Stick, ...] = ()

    def of_run(self, run: Run) -> JobEntry:
        """What the file says of the run itself, by its own name or by that of the run it was drawn in."""
        return merged(matching(self.runs, run.name, *([] if run.drawn_as is None else [run.drawn_as])))

    def for_layer(self, layer: str | None) -> JobEntry:
        """What the file says of a layer; nothing for no layer."""
        return UNSAID if layer is None else merged(matching(self.layers, layer))

    def choice(self, run: Run) -> JobEntry:
        """Everything said of a run: of itself, then of its layer, then by default."""
        return merged([self.of_run(run), self.for_layer(run.layer), self.default])


def matching(table: Mapping[str, JobEntry], *names: str) -> list[JobEntry]:
    """The choices that a thing of these names meets, the nearest first: exact, name by name, then patterns in order."""
    if not table:
        return []
    keys = [folded(name) for name in names]
    exact = [entry for key in keys for pattern, entry in table.items() if folded(pattern) == key]
    return exact + [entry for pattern, entry in table.items() if folded(pattern) not in keys and fits(pattern, *names)]


def merged(choices: Iterable[JobEntry]) -> JobEntry:
    """One choice of many: of each value the first that is said.

    Die and radius go together: the first choice that says either says both, so that a die named
    for one run is not held against a radius meant for all.
    """
    said = [entry for entry in choices if entry is not UNSAID]
    if len(said) < 2:
        return said[0] if said else UNSAID
    values: dict[str, Any] = {}
    for entry in said:
        settled = "die" in values or "clr" in values
        for name in _VALUES:
            value = getattr(entry, name)
            if value is not None and not (settled and name in ("die", "clr")):
                values.setdefault(name, value)
    return JobEntry(**values)


def unmatched(job: JobFile | None, runs: Iterable[Run], layer_sections: Iterable[str] = ()) -> list[Finding]:
    """A warning for each name or pattern that no run or layer of the drawing meets.

    Args:
        job: the job file, or None.
        runs: of the drawing.
        layer_sections: layers that a section option names.
    """
    runs = list(runs)
    names = {name for run in runs for name in (run.name, run.drawn_as)}
    layers = {run.layer for run in runs}
    asked = [("option layer", pattern, layers) for pattern in layer_sections]
    source = job.source if job is not None else ""
    if job is not None:
        asked += [("job run", pattern, names) for pattern in job.runs]
        asked += [("job layer", pattern, layers) for pattern in job.layers]
    return [
        Finding(
            "job-unmatched",
            variant=variant,
            cure="" if source else "spelling",
            values={"pattern": pattern, "source": source},
        )
        for variant, pattern, known in asked
        if not fits(pattern, *known)
    ]


def shop_of_job(shop: Shop, job: JobFile | None) -> Shop:
    """A shop with the bars of a job among its own.

    Raises:
        ShopError: a bar names a metal that is not known.
    """
    if job is None or not job.stock:
        return shop
    check_stock(job.stock, shop.metals, job.source)
    return replace(shop, stock=(*shop.stock, *job.stock))


def load_job(path: str | os.PathLike[str]) -> JobFile:
    """The job that a file describes.

    Raises:
        ReadError: the file cannot be read.
        ShopError: it is not TOML (line and column are said) or a key is wrong (its path is said).
    """
    return _job(read_toml(path, "job file"), os.fspath(path))


def job_from_text(content: str, name: str = "job file") -> JobFile:
    """The job that TOML text describes; ``name`` stands for the file in messages."""
    return _job(parse_toml(content, name, "job file"), name)


def _job(raw: dict[str, Any], file: str) -> JobFile:
    values = read_table(raw, JOB, Place(file, unit=file_unit(raw, Place(file))))
    return JobFile(
        name=(values["job"] or {}).get("name") or "",
        default=JobEntry(**values["default"]) if values["default"] else UNSAID,
        layers=_choices(values["layer"], Place(file, "layer")),
        runs=_choices(values["run"], Place(file, "run")),
        source=file,
        joints=tuple(joint_choice(one, Place(file, f"joint[{i + 1}]")) for i, one in enumerate(values["joint"])),
        stock=tuple(Stick(**one) for one in values["stock"]),
    )


def _choices(values: dict[str, dict[str, Any]], place: Place) -> dict[str, JobEntry]:
    seen: dict[str, str] = {}
    for key in values:
        if not key.strip():
            place.key(key).fail("needs a name")
        other = seen.setdefault(folded(key), key)
        if other != key:
            place.key(key).fail(
                f"is said twice: names compare without regard to case, and {quoted(other)} is there too"
            )
    return {key: JobEntry(**value) for key, value in values.items()}
