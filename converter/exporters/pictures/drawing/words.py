"""What a drawing became, as a list: findings with the numbers that stand in the picture, then what was left out.

The same list is drawn beside the picture and can be shown as text (`drawing_legend`), for people who cannot
see it. Names and sentences come raw from the drawing: whoever shows them escapes them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from string import ascii_lowercase

from converter.errors import GeometryError
from converter.findings import ERROR, NOTE, Finding, Reason
from converter.findings.wording import beside, heading, without_place
from converter.geometry.vectors import Vec
from converter.model.drawing import Drawing
from converter.model.run import Tube
from converter.reducer.chaining.ends import middle
from converter.units import Display

#: Findings that say how the drawing was read; of all others only errors at a bend belong in its picture.
ABOUT_READING = frozenset({
    "units-assumed", "units-overridden", "file-repaired", "layers-skipped", "arc-flattened", "arc-suspect",
    "block-stretched",
    "outline-suspect", "entity-unread", "curve-sampled", "length-disagrees", "solid-off", "solid-tapered",
    "solid-oval", "solid-skin", "solid-fused", "solid-plate", "mesh-fitted", "mesh-skin", "mesh-not-round",
    "mesh-precision", "mesh-misfit", "mesh-ambiguous", "mesh-uncertain", "plane-open", "healed-gap", "near-gap",
    "duplicate-removed", "speck-removed", "leftover-line", "overlap-kept", "joined-across-layers", "junction",
    "near-tangent", "kink", "curve-fitted", "untrimmed",
    "not-line-arc", "rebuild-deviation", "corner-filleted", "corner-no-radius", "negative-straight", "fold-back",
    "refit", "short-run", "hoop", "closed-loop", "units-doubted", "outline-read", "outline-none", "outline-size",
    "section-differs", "annotation-suspect", "fit-looser",
})  # fmt: skip


#: More entries of one kind than this become one.
MANY = 8
#: So many places of one entry are kept.
PLACES = 400


@dataclass(frozen=True, slots=True)
class LegendEntry:
    """One line of the list.

    Attributes:
        mark: what stands in the picture: a number for a finding, a letter for things left out; '' where
            nothing does (no place is known, or the letters are used up).
        kind: 'finding' or 'left out'.
        severity: of the finding; '' for things left out.
        heading: a few words, with the run and the bend in front.
        text: the whole sentence and its cure.
        word: what stands beside the place in the picture, or ''.
        at: place in the drawing, mm, or None.
        also: more places of the same.
        finding: the finding itself, of several alike the worst; None for things left out.
        runs: names of the runs it speaks of.
        left: kind of the things left out and why, None for findings.
    """

    mark: str
    kind: str
    severity: str
    heading: str
    text: str
    word: str = ""
    at: Vec | None = None
    also: tuple[Vec, ...] = ()
    finding: Finding | None = None
    runs: tuple[str, ...] = ()
    left: tuple[str, Reason] | None = None


def drawing_legend(
    drawing: Drawing, tubes: Sequence[Tube], findings: Sequence[Finding], display: Display
) -> list[LegendEntry]:
    """Everything the picture of a drawing as read tells, in the order of its marks.

    Args:
        drawing: as read, best with `ReadOptions.keep_left_out`.
        tubes: what became of it; none where no run was found.
        findings: of the readers and the reducer, and the audit's where it was done.
        display: how lengths are written; `converter.units.BothUnits` keeps both.

    Returns:
        Findings with a place, numbered: of the reading, the worst first, of the shop, then notes; findings
        without a place; what was left out, lettered.
    """
    by_name = {tube.name: tube for tube in tubes}
    shapes = {shape.handle: shape.points[0] for shape in drawing.aside.shapes if shape.handle} if drawing.aside else {}
    said = [f for f in dict.fromkeys(findings) if f.code in ABOUT_READING or (f.severity == ERROR and f.bend)]
    # what went wrong in reading comes before what the shop cannot bend, notes come last
    said.sort(key=lambda f: (f.precedence, f.severity == NOTE, f.code not in ABOUT_READING, f.rank))
    placed: list[LegendEntry] = []
    placeless: list[LegendEntry] = []
    for alike in _grouped(said):
        entry = _entry(alike, str(len(placed) + 1), by_name, shapes, display)
        (placed if entry.mark else placeless).append(entry)
    return [*placed, *placeless, *_left_out(drawing, display)]


def _grouped(said: Sequence[Finding]) -> list[list[Finding]]:
    """Findings in order; together are those of one kind about bends of one run, and all of a kind said very often.

    In each group the one farthest off its limit is first.
    """
    groups: dict[object, list[Finding]] = {}
    for i, finding in enumerate(said):
        key: object = i
        if finding.tube and finding.bend:
            key = finding.code, finding.severity, finding.tube
        groups.setdefault(key, []).append(finding)
    alike: dict[tuple[str, str], list[list[Finding]]] = {}
    for group in groups.values():
        alike.setdefault((group[0].code, group[0].severity), []).append(group)
    out: list[list[Finding]] = []
    for several in alike.values():
        out += several if len(several) <= MANY else [[finding for group in several for finding in group]]
    return [sorted(group, key=lambda f: -abs((f.measured or 0.0) - (f.limit or 0.0))) for group in out]


def _entry(
    alike: list[Finding], number: str, tubes: dict[str, Tube], shapes: dict[str, Vec], display: Display
) -> LegendEntry:
    worst = alike[0]
    places = [place for finding in alike[:PLACES] if (place := _place(finding, tubes, shapes)) is not None]
    more = tuple(place for finding in alike[:PLACES] for place in finding.also)
    text = display.each(lambda one: f"{worst.message_in(one)} {worst.cure_in(one)}".rstrip())
    return LegendEntry(
        number if places else "",
        "finding",
        worst.severity,
        _heading(alike, display),
        text,
        beside(worst, display) if worst.severity != NOTE else "",
        places[0] if places else None,
        (*places[1:], *more),
        worst,
        tuple(dict.fromkeys(f.tube for f in alike if f.tube)),
    )


def _place(finding: Finding, tubes: dict[str, Tube], shapes: dict[str, Vec]) -> Vec | None:
    """Where a finding's mark goes: where it says, else at its bend, else in the middle of its run."""
    if finding.at is not None:
        return finding.at
    if finding.handle in shapes and finding.code == "entity-unread":
        return shapes[finding.handle]
    tube = tubes.get(finding.tube or "")
    if tube is None:
        return None
    try:
        return tube.run.bend_point(finding.bend or 0)
    except GeometryError:  # it speaks of the whole run
        segments = tube.run.centerline
        return middle(segments[len(segments) // 2]) if segments else tube.run.start


def _left_out(drawing: Drawing, display: Display) -> list[LegendEntry]:
    """One entry for each kind and reason, lettered where shapes of it are at hand."""
    shapes: dict[tuple[str, Reason], list[Vec]] = {}
    for shape in drawing.aside.shapes if drawing.aside else ():
        shapes.setdefault((shape.kind, shape.why), []).append(shape.points[0])
    letters = iter(ascii_lowercase)
    out = []
    for one in drawing.ignored:
        places = shapes.get((one.kind, one.why), [])
        letter = next(letters, "") if places else ""
        text = f"{one.count} {one.kind}: {display.each(one.why_in)}"
        at, also = (places[0], tuple(places[1:])) if places else (None, ())
        out.append(LegendEntry(letter, "left out", "", text, text, "", at, also, left=(one.kind, one.why)))
    return out


# --- words -----------------------------------------------------------------------------------


def _heading(alike: Sequence[Finding], display: Display) -> str:
    """``RAIL bend 2: kink of 12.00°...``; of several the worst one's words."""
    finding = alike[0]
    words = heading(finding, display) or display.each(lambda one: without_place((finding,), one))
    place = _runs_and_bends(alike)
    return words if not place or place in words else f"{place}: {words}"


def _runs_and_bends(alike: Sequence[Finding]) -> str:
    """Which runs and bends, or how many places."""
    names = list(dict.fromkeys(f.tube for f in alike if f.tube))
    if len(names) > 1:
        rest = f" and {len(names) - 3:,} more" if len(names) > 3 else ""
        return ", ".join(names[:3]) + rest
    if not names:
        return f"{len(alike):,} places" if len(alike) > 1 else ""
    bends = sorted({f.bend for f in alike if f.bend is not None})
    if not bends:
        return names[0]
    which = ", ".join(map(str, bends)) if len(bends) <= 5 else f"{bends[0]} to {bends[-1]}"
    return f"{names[0]} bend{'s' if len(bends) > 1 else ''} {which}"
