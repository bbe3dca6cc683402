"""Job files: which section, metal, die, radius and feeding end each layer or run gets; cuts. docs/job-file.md.

Every value is looked up on its own, the nearest saying wins: the run by its exact name, the run by
a pattern, its layer by exact name, its layer by a pattern, then ``[default]``. Among patterns the
first in the file wins. Names and patterns compare without regard to case, as layer names do.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from math import isfinite, sqrt
from typing import Any

from converter.findings import Finding
from converter.geometry.vectors import Vec
from converter.limits import WELD_GAP
from converter.model.run import Run
from converter.model.section import Section
from converter.names import fits, folded
from converter.quoting import quoted
from converter.shop.consistency import check_stock
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
    length_or_zero,
    named_tables,
    read_table,
    section,
    show,
    text,
    three_signed_lengths,
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
KINDS = ("saddle", "square", "mitre", "plane", "none")


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
        _unmatched(variant, pattern, known, source) for variant, pattern, known in asked if not fits(pattern, *known)
    ]


def _unmatched(variant: str, pattern: str, known: Iterable[str | None], source: str) -> Finding:
    """That a name meets nothing, with the one of those known that is likely meant."""
    from difflib import get_close_matches

    names = {folded(name): name for name in known if name}
    near = [names[name] for name in get_close_matches(folded(pattern), names, 1, 0.7)]
    values = {"pattern": pattern, "source": source, "near": near[0] if near else ""}
    return Finding(
        "job-unmatched", variant=variant, cure="near" if near else "" if source else "spelling", values=values
    )


def shop_of_job(shop: Shop, job: JobFile | None) -> Shop:
    """A shop with the bars of a job among its own.

    Raises:
        ShopError: a bar names a metal that is not known.
    """
    if job is None or not job.stock:
        return shop
    check_stock(job.stock, shop.metals, job.source)
    return replace(shop, stock=(*shop.stock, *job.stock))


# --- [[joint]] --------------------------------------------------------------------------------


def _names(raw: Any, place: Place) -> tuple[str, ...]:
    """A list of one or more names."""
    if not isinstance(raw, list) or not raw:
        place.fail(f'must be a list of names, such as ["RAIL"], not {show(raw)}')
    return tuple(text(one, place.item(i)) for i, one in enumerate(raw))


def _weld_gap(raw: Any, place: Place) -> float:
    """A length of zero or more that a weld may bridge, in mm."""
    gap = length_or_zero(raw, place)
    if gap > WELD_GAP:
        place.fail(f"must be a weld gap of 2 in (50.8 mm) at most, not {show(raw)}")
    return gap


def _direction(raw: Any, place: Place) -> Vec:
    """A list of three numbers that are not all zero, as a unit vector."""
    good = isinstance(raw, list) and len(raw) == 3
    if not good or any(isinstance(v, bool) or not isinstance(v, (int, float)) or not isfinite(v) for v in raw):
        place.fail(f"must be a list of three numbers, such as [0, 0, 1], not {show(raw)}")
    size = sqrt(sum(v * v for v in raw))
    if not 1e-9 < size < 1e9:
        place.fail("must be a direction: three numbers that are not all zero")
    return (raw[0] / size, raw[1] / size, raw[2] / size)


JOINT = {
    "tube": Field(text, required=True),
    "end": Field(choice("A", "B")),
    "at": Field(three_signed_lengths),
    "kind": Field(choice(*KINDS)),
    "cope_to": Field(_names, default=()),
    "point": Field(three_signed_lengths),
    "normal": Field(_direction),
    "gap": Field(_weld_gap),
}


@dataclass(frozen=True, slots=True)
class JointChoice:
    """What a job file says of an end.

    Attributes:
        tube: name or pattern of the tube.
        end: 'A', 'B' or None for both.
        at: only ends near this point (mm), or None for all.
        kind: 'saddle', 'square' (on a flat), 'mitre', 'plane', 'none' (left as it is), or None for the usual rules.
        cope_to: names or patterns of the tubes it is cut to; () for the usual rules.
        point, normal: of the plane it ends on ('plane' only).
        gap: weld gap in mm, or None for the usual one.
    """

    tube: str
    end: str | None = None
    at: Vec | None = None
    kind: str | None = None
    cope_to: tuple[str, ...] = ()
    point: Vec | None = None
    normal: Vec | None = None
    gap: float | None = None

    def speaks_of(self, name: str, end: str) -> bool:
        """Whether it names this end (its place apart)."""
        return fits(self.tube, name) and self.end in (None, end)


def _joint_choice(values: dict[str, Any], place: Place) -> JointChoice:
    """One ``[[joint]]``, contradictions refused.

    Raises:
        ShopError: it contradicts itself; with the key's path.
    """
    plane = values["kind"] == "plane"
    for key in ("point", "normal"):
        if plane and values[key] is None:
            place.key(key).fail("is missing: a plane needs a point and a normal")
        if not plane and values[key] is not None:
            place.key(key).fail('goes with kind = "plane" only')
    if values["cope_to"] and values["kind"] in ("plane", "none"):
        place.key("cope_to").fail(f'contradicts kind = "{values["kind"]}"')
    if values["kind"] == "mitre" and len(values["cope_to"]) > 1:
        place.key("cope_to").fail("must name one tube for a mitre")
    return JointChoice(**values)


# --- the file ---------------------------------------------------------------------------------

JOB = {
    "units": Field(lambda raw, place: raw),
    "job": Field(OneTable({"name": Field(text)})),
    "default": Field(OneTable(CHOICE)),
    "layer": Field(named_tables(CHOICE), default={}),
    "run": Field(named_tables(CHOICE), default={}),
    "joint": Field(ListOfTables(JOINT), default=()),
    "stock": Field(ListOfTables(STOCK), default=()),
}


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
        joints=tuple(_joint_choice(one, Place(file, f"joint[{i + 1}]")) for i, one in enumerate(values["joint"])),
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
