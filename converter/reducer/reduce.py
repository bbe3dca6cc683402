"""From a drawing to its runs: chaining, the fast lane for exact chains, the general way for the rest."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from math import log10

from converter.errors import GeometryError, ReadError, TooLargeError
from converter.findings import ERROR, Clause, Finding
from converter.limits import BENDS, CURVES, LONGEST_RUN, RUNS, SHORTEST_RUN, VERTICES
from converter.model.bends import Placement
from converter.model.curve import Path, Polyline
from converter.model.drawing import Drawing, ReadyTable
from converter.model.run import Run
from converter.progress import steps
from converter.quoting import is_blank, quoted
from converter.reducer.chaining.chain import Chain, chain
from converter.reducer.exact import ExactRun, exact_runs
from converter.reducer.fitting.looser import looser_fit, may_be_looser
from converter.reducer.leftover import leftover_lines, with_leftover_tubes
from converter.reducer.linetypes import linetype_finding
from converter.reducer.refit import with_bends_joined
from converter.reducer.same_shape import ChainShape, WorkedOutShapes
from converter.tolerances import DEFAULT, PAST_SHARE, Tolerances, same_within
from converter.units import MM_PER, UNIT_CHOICES

_SPLIT = "read it in parts (--layer, --skip-layer), or export the tubes alone"
#: What tubes without a name of their own are called, with a number.
_UNNAMED = "tube"
#: So many shapes in a drawing are tried with a looser fit, none after one that it does not help: what is wrong with
#: them is wrong with the others, too.
_TRIED_LOOSER = 3
#: mm; what a run is likeliest to have when its unit is in doubt
_USUAL = 1500.0


def reduce_drawing(
    drawing: Drawing,
    tol: Tolerances = DEFAULT,
    *,
    across_layers: bool = True,
    radii: Sequence[float] = (),
) -> tuple[list[Run], list[Finding]]:
    """Every run of a drawing with its bend table, and what was noticed on the way.

    Args:
        drawing: what an importer read, in mm.
        tol: tolerances in mm and degrees.
        across_layers: whether a run may continue tangent onto another layer.
        radii: mm, of the shop's dies: a fitted radius that agrees with one of them is taken to be that one.

    Returns:
        Runs in drawn order, none for a drawing without curves; findings about the drawing as a
        whole. Findings about one run are in ``Run.findings``.

    Raises:
        TooLargeError: it holds more curves, runs, or bends in one run, than are read.
    """
    _check_amounts(drawing)
    chains, findings = chain(drawing.curves, tol, across_layers)
    _check_count(drawing, len(chains) + len(drawing.tables), RUNS, "tubes")
    plain = exact_runs(chains, tol)
    labels = _names(chains, drawing.tables)
    runs: list[Run] = []
    fitting = _Fitting(tol, radii)
    mixed = any(drawn.linetype is not None for drawn in drawing.curves)
    for one, quick, name in steps(zip(chains, plain, labels[: len(chains)], strict=True), "tubes", len(chains)):
        try:
            run = _exact_run(one, quick, name) if quick is not None else fitting.run_of(one, name)
        except GeometryError as error:
            if error.code == "too-many-bends":
                raise _too_many_bends(drawing, one) from error
            raise _no_tube(drawing, one, error) from error
        if run is not None:
            run = _with_solid(_with_section(_with_leftovers(run, one, tol), one), one)
            if mixed and (doubt := linetype_finding(one, name, tol)) is not None:
                run = replace(run, findings=(*run.findings, doubt))
            if len(run.table.bends) > BENDS:
                raise _too_many_bends(drawing, one)
            runs.append(run)
    runs = with_leftover_tubes(runs, tol)
    runs += [_ready(t, name) for t, name in zip(drawing.tables, labels[len(chains) :], strict=True)]
    for run in runs[-len(drawing.tables) :] if drawing.tables else ():
        if len(run.table.bends) > BENDS:
            _check_count(drawing, len(run.table.bends), BENDS, f"bends in tube {quoted(run.name)}")
    return [with_size_finding(run, drawing.read_as) for run in runs], findings


def _with_leftovers(run: Run, one: Chain, tol: Tolerances) -> Run:
    """The run with what trimming left of its drawing; a solid's spine is no drawing."""
    drawn = [item for item, _ in one.items]
    lines = leftover_lines(run, drawn, tol) if drawn[0].solid is None else ()
    return replace(run, findings=(*lines, *run.findings)) if lines else run


def _with_section(run: Run, one: Chain) -> Run:
    """The run with the section that is drawn, and the ends that its outline shows, where it was drawn by one."""
    (opening, first_back), (closing, last_back) = one.items[0], one.items[-1]
    section = opening.section or closing.section
    if section is None:
        return run
    finding = Finding(
        "outline-size",
        variant="" if section.kind.hollow else "no wall",
        tube=run.name,
        measured=section.od,
        unit="mm",
        layer=run.layer,
        values={"od": section.od, "wall": section.wall},
    )
    ends = opening.ends[1 if first_back else 0], closing.ends[0 if last_back else 1]
    past = tuple(0.0 if end is None else end.past for end in ends)
    metal = (past[0], past[1]) if any(ends) else None
    return replace(run, section=section, metal=metal, drawn_ends=ends, findings=(*run.findings, finding))


def _with_solid(run: Run, one: Chain) -> Run:
    """The run with what its solid tells of section and ends, where it is the spine of one."""
    drawn, backward = one.items[0]
    solid = drawn.solid
    if solid is None:
        return run
    letters = {"A": "B", "B": "A"} if backward else {}
    told = [replace(f, tube=run.name, end=letters.get(f.end or "", f.end)) for f in solid.findings]
    metal = solid.metal[::-1] if backward and solid.metal is not None else solid.metal
    deviation = run.deviation + solid.off
    return replace(run, section=solid.section, metal=metal, deviation=deviation, findings=(*run.findings, *told))


def _check_amounts(drawing: Drawing) -> None:
    """Refuse a drawing of more curves or vertices than are worked on.

    Raises:
        TooLargeError: it has.
    """
    _check_count(drawing, len(drawing.curves), CURVES, "curves")
    vertices = 0
    for drawn in drawing.curves:
        curve = drawn.curve
        if isinstance(curve, Polyline):
            vertices += len(curve.points)
        elif isinstance(curve, Path):
            vertices += sum(len(p.points) if isinstance(p, Polyline) else 1 for p in curve.parts)
    _check_count(drawing, vertices, VERTICES, "vertices in its polylines")


def _check_count(drawing: Drawing, count: int, most: int, what: str) -> None:
    if count > most:
        raise TooLargeError.of(drawing.source, f"{count:,} {what}", f"{most:,}", _SPLIT)


def _where(one: Chain) -> str:
    first = one.handles[0] if one.handles else None
    places = [f" drawn by {first}" if first else "", "" if one.layer is None else f" on layer {quoted(one.layer)}"]
    return f"the tube{''.join(places)}"


def _no_tube(drawing: Drawing, one: Chain, error: GeometryError) -> ReadError:
    """The sentence for a chain whose numbers make no tube."""
    where = _where(one)
    text = f"{drawing.source}: {where} cannot be worked out ({error.message}): leave it out, or draw it anew."
    return ReadError(text, code=error.code, file=drawing.source, where=where)


def _too_many_bends(drawing: Drawing, one: Chain) -> TooLargeError:
    """The sentence for a chain that is no tube, with where it was drawn."""
    where = _where(one)
    return TooLargeError(
        f"{drawing.source}: {where} takes more than {BENDS:,} bends, and no tube has so many: leave it out with "
        "--skip-layer, or draw it as straights and arcs.",
        file=drawing.source,
        where=where,
    )


def with_size_finding(run: Run, unit: str) -> Run:
    """The run, with a finding when its length is that of no tube: its unit, ``unit``, is likely another one."""
    length = run.table.developed_length
    if SHORTEST_RUN * (1.0 - PAST_SHARE) <= length <= same_within(LONGEST_RUN):
        return run
    if not run.table.bends and any(finding.code == "leftover-line" for finding in run.findings):
        return run  # it is no tube, whatever its unit
    number = length / MM_PER[unit]
    likely = [(abs(log10(number * MM_PER[u] / _USUAL)), u) for u in UNIT_CHOICES] if number > 0.0 else []
    other = min(likely)[1] if likely else unit
    reading = "" if other == unit else Clause.of("run-likelier-unit", unit=other, length=number * MM_PER[other])
    long = length > LONGEST_RUN
    limit = LONGEST_RUN if long else SHORTEST_RUN
    finding = Finding(
        "run-size",
        severity=ERROR if long else "",
        tube=run.name,
        variant="long" if long else "short",
        measured=length,
        limit=limit,
        unit="mm",
        layer=run.layer,
        handle=run.handles[0] if run.handles else None,
        values={"length": length, "unit": unit, "reading": reading, "limit": limit},
    )
    return replace(run, findings=(*run.findings, finding))


def _names(chains: Sequence[Chain], tables: Sequence[ReadyTable]) -> list[str]:
    """A name for each run: what the file calls it, else its layer, else 'tube'; numbered where it repeats.

    A name of nothing but blanks and characters that do not show is none: nobody could tell it in a table.
    """
    wanted = []
    for one in chains:
        named = next((d.name for d, _ in one.items if d.name), None)
        wanted.append(_writable(named) or ("" if one.layer == "0" else _writable(one.layer)))
    wanted += [_writable(table.name) for table in tables]
    total = Counter(name or _UNNAMED for name in wanted)
    used = {name for name in wanted if name and total[name] == 1}
    seen: Counter[str] = Counter()
    names = []
    for own in wanted:
        stem = name = own or _UNNAMED
        if not own or total[stem] > 1:
            while True:
                seen[stem] += 1
                name = f"{stem}-{seen[stem]}"
                if name not in used:
                    break
            used.add(name)
        names.append(name)
    return names


def _writable(name: str | None) -> str:
    """The name as every file can keep it: null characters and half surrogates replaced; '' where nothing shows."""
    if name is None or is_blank(name):
        return ""
    return name if name.isascii() and name.isprintable() else re.sub("[\0\ud800-\udfff]", "\ufffd", name)


def _exact_run(one: Chain, quick: ExactRun, name: str) -> Run:
    return Run(name, one.layer, False, quick.table, quick.placement, quick.deviation, one.handles, end_point=quick.end)


def _ready(table: ReadyTable, name: str) -> Run:
    run = Run(
        name,
        table.layer,
        table.closed,
        table.table,
        table.placement or Placement(),
        table.deviation,
        (table.handle,) if table.handle else (),
        table.section,
        tuple(replace(f, tube=name) for f in table.findings),
        metal=table.metal,
        placed=table.placement is not None,
    )
    return with_bends_joined(run)


class _Fitting:
    """The general way of the chains of one drawing.

    Args:
        tol: mm and degrees.
        radii: mm, of the shop's dies.
    """

    def __init__(self, tol: Tolerances, radii: Sequence[float]) -> None:
        self._tol, self._radii = tol, radii
        self._worked_out = WorkedOutShapes(tol.equal)
        self._tried_looser = 0

    def run_of(self, one: Chain, name: str) -> Run | None:
        """What comes of a chain; None when nothing with a length is left."""
        from converter.reducer.general import reduce_chain  # fitting code that exact drawings never need

        shape = ChainShape(one)
        run = self._worked_out.find(shape, one, name)
        if run is None:
            run = reduce_chain(one, name, self._tol, self._radii)
            if run is not None:
                run = self._with_looser(one, run)
                self._worked_out.add(shape, one, run)
        return run

    def _with_looser(self, one: Chain, run: Run) -> Run:
        """The run, with a finding when a looser fit makes a tube of fewer bends of it."""
        if self._tried_looser >= _TRIED_LOOSER or not may_be_looser(run):
            return run
        self._tried_looser += 1
        looser = looser_fit(one, run, self._tol, self._radii)
        if looser is None:
            self._tried_looser = _TRIED_LOOSER
            return run
        return replace(run, findings=(looser, *run.findings))
