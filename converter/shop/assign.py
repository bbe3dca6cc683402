"""Runs become tubes: each gets its section, its die, the radius of its corners.

Of the section, the nearest saying wins: the option for its layer, the job file for the run, the job
file for the layer, the option for all, the job file's default, the file the run came from, the size
written in its layer's name (which is said). The die is the one the job names; else the only one that
takes the section; else the one that makes the most of the drawn bends; else the one nearest to them;
and for corners alone the one of the smallest radius. A choice that the drawing does not settle is said.

When a die makes a bend: an exact arc (drawn as one, or written in a table) is judged exactly: its radius and the
die's are equal within `EQUAL`, which only covers the rounding of drawings to two or three decimals. A fitted
radius carries an uncertainty and is judged by it: on a short arc the sagitta hardly knows the radius
(dR/dsagitta = cos h/(1 - cos h), h half the sweep).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from converter.errors import ShopError
from converter.findings import Clause, Finding
from converter.model.bends import Bend
from converter.model.run import Run, Tube, reverse_run, turned_by_bend
from converter.model.section import Section
from converter.names import fits, folded
from converter.quoting import quoted
from converter.shop.job_file import JobEntry, JobFile
from converter.shop.metals import find_metal, metal_hint, need_metal
from converter.shop.model import Die, Shop
from converter.shop.sections import section_from_layer
from converter.tolerances import DEFAULT, same_within
from converter.units import Display

#: mm; radii closer than this are the same radius (0.002 in; the default fit tolerance).
EQUAL = same_within(0.05)
#: mm; what is drawn wider or narrower than its section by this, or a hundredth of its size, has its nominal size.
OUTLINE_SLACK = same_within(0.2)
#: A fitted radius known to this share of itself is known well enough to name the die it was meant for.
SURE = 0.02


@dataclass(slots=True)
class Assigner:
    """Gives runs their metal.

    Attributes:
        shop: whose dies are used.
        job: the job file.
        default_section: section of every run, or None.
        layer_sections: section by layer name or pattern; an exact name before a pattern, later patterns first.
        metal: name of the metal of every run that the job gives none by its name or layer, or None.
        clr: radius of sharp corners in mm (and of every bend with ``refit``), or None for the die's.
        refit: move every bend that no die makes to the radius of the tube's die (or all to ``clr``), of runs that the
            job says nothing else of by name or layer.
        on_flat: 'square' or 'cope' for ends on flats of runs that the job says nothing of by name or layer, or None.
        display: how errors show lengths.
    """

    shop: Shop
    job: JobFile = field(default_factory=JobFile)
    default_section: Section | None = None
    layer_sections: Mapping[str, Section] = field(default_factory=dict)
    metal: str | None = None
    clr: float | None = None
    refit: bool = False
    on_flat: str | None = None
    display: Display = field(default_factory=Display)
    _by_layer: dict[str | None, tuple[Section | None, JobEntry, Section | None]] = field(default_factory=dict)
    _dies: dict[tuple[Section, bool], tuple[Die, ...]] = field(default_factory=dict)

    def tubes(self, runs: Iterable[Run]) -> list[Tube]:
        """One tube per run, as reduced, in the same order.

        Raises:
            ShopError: the job names a die that the shop does not have or a metal not known, or contradicts
                itself; or ``metal`` is not known.
        """
        if self.metal is not None:
            need_metal(self.metal, self.shop.metals)
        self._check_job()
        return [self._tube(run) for run in runs]

    def _check_job(self) -> None:
        """Every die and metal the job names exists, and the die goes with the radius beside it."""
        for what, choices in (("layer", self.job.layers), ("run", self.job.runs), ("default", {"": self.job.default})):
            for name, choice in choices.items():
                where = f"{what} {quoted(name)}" if name else f"[{what}]"
                if choice.metal is not None and find_metal(choice.metal, self.shop.metals) is None:
                    hint = metal_hint(choice.metal, self.shop.metals)
                    raise ShopError(
                        f"{self.job.source}: {where} names the metal {quoted(choice.metal)}, which "
                        f"is not known: {hint}",
                        code="unknown-metal",
                        file=self.job.source,
                        where=where,
                    )
                if choice.die is None:
                    continue
                try:
                    die = self.shop.die(choice.die)
                except ShopError as error:
                    message = f"{self.job.source}: {where}: {error.message}"
                    raise ShopError(message, code=error.code, file=self.job.source, where=where) from error
                if choice.clr is not None and abs(choice.clr - die.clr) > EQUAL:
                    raise ShopError(
                        f"{self.job.source}: {where} gives the die {quoted(die.name)} of "
                        f"{self.display.length(die.clr)} "
                        f"and a clr of {self.display.length(choice.clr)}: leave one of them out.",
                        file=self.job.source,
                        where=where,
                    )

    def _tube(self, drawn: Run) -> Tube:
        """One run with its metal."""
        choice = self.job.choice(drawn)
        run = reverse_run(drawn) if choice.reverse else drawn
        findings: list[Finding] = []
        section = self._section(run, findings)
        if section is not None:
            findings += _section_differs(run, section)
        corner_clr = self.clr if self.clr is not None else choice.clr
        die = self._die(run, section, choice, corner_clr, findings)
        radius = corner_clr if corner_clr is not None else die.clr if die else None
        made = run
        if radius is not None and any(bend.clr is None for bend in run.table.bends):
            from converter.reducer.refit import with_bends_joined

            made = with_bends_joined(self._filleted(made, section, die, corner_clr))
        if self._refit(run):
            made = self._refitted(made, section, die)
        if min(made.table.straights) < 0.0:
            from converter.reducer.refit import without_hairs

            made = replace(made, table=without_hairs(made.table))
        if section is not run.section:  # what its outline shows no longer tells its section
            shown = tuple(finding for finding in made.findings if finding.code != "outline-size")
            made = replace(made, findings=shown)
        die_name, metal = die.name if die else None, self._metal(run)
        return Tube(made, section, die_name, run, tuple(findings), metal, self._on_flat(run) == "cope")

    def _section(self, run: Run, findings: list[Finding]) -> Section | None:
        """The run's section, by what speaks of it nearest."""
        if run.layer not in self._by_layer:
            self._by_layer[run.layer] = (
                self._of_layer_option(run.layer),
                self.job.for_layer(run.layer),
                section_from_layer(run.layer),
            )
        option, of_layer, written = self._by_layer[run.layer]
        of_run, default = self.job.of_run(run), self.job.default
        own = option or of_run.section or of_layer.section
        for_all = self.default_section or default.section
        said = own or for_all or run.section
        if said is not None or written is None:
            if own is None and for_all is not None and written is not None and run.section is None:
                findings += _layer_differs(run, written, for_all)
            return said
        findings.append(Finding("section-assumed", tube=run.name, layer=run.layer, values={"section": written}))
        return written

    def _metal(self, run: Run) -> str | None:
        """The name of the run's metal: of the job for it or its layer, else of the option, else the job's default."""
        said = self.job.of_run(run).metal or self.job.for_layer(run.layer).metal
        return said or self.metal or self.job.default.metal

    def _on_flat(self, run: Run) -> str | None:
        """How its ends on flats are cut: as of `_metal`."""
        of_run, of_layer = self.job.of_run(run), self.job.for_layer(run.layer)
        return of_run.on_flat or of_layer.on_flat or self.on_flat or self.job.default.on_flat

    def _refit(self, run: Run) -> bool:
        """Whether bends that no die makes are bent on its die: as of `_metal`."""
        of_run, of_layer = self.job.of_run(run).refit, self.job.for_layer(run.layer).refit
        near = of_layer if of_run is None else of_run
        return near if near is not None else self.refit or bool(self.job.default.refit)

    def _of_layer_option(self, layer: str | None) -> Section | None:
        if layer is None:
            return None
        like = {name: value for name, value in self.layer_sections.items() if fits(name, layer)}
        exact = [value for name, value in like.items() if folded(name) == folded(layer)]
        return [None, *like.values(), *exact][-1]

    def _die(
        self, run: Run, section: Section | None, choice: JobEntry, corner_clr: float | None, findings: list[Finding]
    ) -> Die | None:
        """The tube's die, or None for none."""
        dies = () if section is None else self._taking(section, False)
        if choice.die is not None:
            named = self.shop.die(choice.die)
            if section is None or named in dies or named.takes(section, turned=True):
                return named
            findings.append(
                Finding(
                    "no-die",
                    tube=run.name,
                    variant="job",
                    layer=run.layer,
                    values={"die": named.name, "sizes": named.sizes, "shape": named.shape, "section": section},
                )
            )
            return None
        if not run.table.bends or not dies:
            return None
        # bends that lie a quarter turn from the first have dies of their own
        lying = zip(run.table.bends, turned_by_bend(section, run.table.bends), strict=True)
        die, settled = choose_die([bend for bend, turned in lying if not turned], dies, corner_clr)
        if not settled:
            findings.append(_die_choice(run, dies, die))
        return die

    def _taking(self, section: Section, turned: bool) -> tuple[Die, ...]:
        """Every die that takes a section as it lies."""
        key = section, turned
        if key not in self._dies:
            self._dies[key] = self.shop.dies_for(section, turned)
        return self._dies[key]

    def _dies_by_bend(self, run: Run, section: Section | None, die: Die | None) -> list[tuple[Die, ...]]:
        """The dies that take the section as it lies in each bend; the tube's own for want of a section."""
        if section is None:
            return [() if die is None else (die,)] * len(run.table.bends)
        return [self._taking(section, turned) for turned in turned_by_bend(section, run.table.bends)]

    def _filleted(self, run: Run, section: Section | None, die: Die | None, clr: float | None) -> Run:
        """The run with its corners on the radius asked for, or else each on that of its die."""
        from converter.reducer.refit import fillet_corners

        if clr is not None:
            return fillet_corners(run, clr)
        targets: dict[float, list[int]] = {}
        for i, (bend, dies) in enumerate(zip(run.table.bends, self._dies_by_bend(run, section, die), strict=True)):
            its = die_of(bend, dies, die)
            if bend.clr is None and its is not None:
                targets.setdefault(its.clr, []).append(i)
        for target, which in targets.items():
            run = fillet_corners(run, target, which)
        return run

    def _refitted(self, run: Run, section: Section | None, die: Die | None) -> Run:
        """The run with its bends on the radii of dies, or all on the option's; what moved is said in its findings.

        A bend that a die makes as drawn stays; a fitted radius goes to the exact radius of its die,
        any other to that of the die it is bent on.
        """
        if self.clr is not None:
            targets = {self.clr: list(range(len(run.table.bends)))}
        else:
            targets = refit_targets(run.table.bends, self._dies_by_bend(run, section, die), die)
        if targets:
            from converter.reducer.refit import refit

            for target, which in targets.items():
                run, _ = refit(run, target, which)
        return run


def _section_differs(run: Run, section: Section) -> list[Finding]:
    """That the file shows another section than the run was given: an outline by its width, a solid or a table whole."""
    drawn = run.section
    if drawn is None:
        return []
    slack = max(OUTLINE_SLACK, same_within(0.01 * drawn.od))
    sizes = [sorted((one.od, one.height)) for one in (drawn, section)]
    if run.is_from_outline:
        differs = min(abs(drawn.od - size) for size in sizes[1]) > slack
    else:
        round_ = [one.cylinder is not None for one in (drawn, section)]
        walls = drawn.kind.hollow and section.kind.hollow and abs(drawn.wall - section.wall) > slack
        differs = round_[0] != round_[1] or walls or any(abs(a - b) > slack for a, b in zip(*sizes, strict=True))
    if not differs:
        return []
    return [
        Finding(
            "section-differs",
            variant="" if run.is_from_outline else "file",
            tube=run.name,
            layer=run.layer,
            measured=drawn.od,
            limit=section.od,
            unit="mm",
            values={"od": drawn.od, "drawn": drawn, "section": section},
        )
    ]


def _layer_differs(run: Run, written: Section, section: Section) -> list[Finding]:
    """That the name of its layer tells another section than the one that was named for all."""
    if written.is_same_stock(section, OUTLINE_SLACK):
        return []
    values = {"drawn": written, "section": section}
    return [
        Finding(
            "section-differs", variant="layer", tube=run.name, layer=run.layer,
            measured=written.od, limit=section.od, unit="mm", values=values,
        )
    ]  # fmt: skip


def _die_choice(run: Run, dies: Sequence[Die], die: Die) -> Finding:
    return Finding(
        "die-choice",
        tube=run.name,
        layer=run.layer,
        measured=die.clr,
        unit="mm",
        values={
            "count": len(dies),
            "dies": tuple(Clause.of("die-of-radius", die=one.name, clr=one.clr) for one in dies),
            "taken": die.name,
        },
    )


def choose_die(bends: Sequence[Bend], dies: Sequence[Die], corner_clr: float | None = None) -> tuple[Die, bool]:
    """The die for some bends, and whether they settle the choice.

    Args:
        bends: one or more; sharp corners (clr None) count as ``corner_clr`` when given.
        dies: one or more that take the section.
        corner_clr: radius that sharp corners will get, in mm, or None for the die's own.

    Returns:
        The only die; else the one that makes the most bends (settled when it or they make all of
        them); else the nearest to the drawn radii; else the smallest radius. Ties go to the smaller radius.
    """
    ordered = sorted(dies, key=lambda die: die.clr)
    if len(ordered) == 1:
        return ordered[0], True
    makers = [die_for_bend(bend, ordered) for bend in bends]
    radii = [bend.clr if bend.clr is not None else corner_clr for bend in bends]
    score = {die.name: 0 for die in ordered}
    for maker, bend in zip(makers, bends, strict=True):
        if maker is not None:
            score[maker.name] += 1
        elif bend.clr is None and corner_clr is not None:
            for die in ordered:
                if abs(die.clr - corner_clr) <= EQUAL:
                    score[die.name] += 1
                    break
    best = max(ordered, key=lambda die: score[die.name])
    if score[best.name]:
        corners_follow = corner_clr is None  # corners without a radius of their own take the die's
        open_bends = sum(1 for bend in bends if bend.clr is None) if corners_follow else 0
        return best, sum(score.values()) + open_bends == len(bends)
    known = [radius for radius in radii if radius is not None]
    if known:
        return min(ordered, key=lambda die: sum(abs(die.clr - radius) for radius in known)), False
    return ordered[0], False


def span(bend: Bend) -> tuple[float, float] | None:
    """The least and the greatest radius in mm that the bend may have; None for a sharp corner."""
    if bend.clr is None:
        return None
    return bend.clr - bend.clr_uncertainty - EQUAL, bend.clr + bend.clr_uncertainty + EQUAL


def nearest_die(clr: float | None, dies: Sequence[Die]) -> Die:
    """The die nearest in radius: of those as near but for rounding, and for a sharp corner, the first.

    Args:
        clr: mm, or None for a corner.
        dies: at least one.
    """
    if clr is None:
        return dies[0]
    least = min(abs(die.clr - clr) for die in dies)
    return next(die for die in dies if abs(die.clr - clr) <= least + DEFAULT.equal)


def die_for_bend(bend: Bend, dies: Sequence[Die]) -> Die | None:
    """The die that makes the bend for sure, or None.

    For an exact arc the die of that radius; for a fitted one the only die within its uncertainty,
    when that is small (`SURE`). Of two dies that fit an exact arc the nearest.
    """
    clr = bend.clr
    if clr is None:
        return None
    reach = bend.clr_uncertainty + EQUAL
    fitting = [die for die in dies if abs(die.clr - clr) <= reach]
    if not fitting:
        return None
    nearest = nearest_die(clr, fitting)
    if abs(nearest.clr - clr) <= EQUAL and bend.clr_uncertainty <= EQUAL:
        return nearest
    different = any(abs(die.clr - nearest.clr) > EQUAL for die in fitting)
    return None if different or bend.clr_uncertainty > SURE * clr else nearest


def die_of(bend: Bend, dies: Sequence[Die], named: Die | None) -> Die | None:
    """The die that a bend is made on: the one that makes it as drawn, else the tube's, else the nearest in radius.

    This is the one place that decides it, for the set-up, the audit and refits.

    Args:
        bend: of the tube.
        dies: that take the section as it lies in that bend, the tightest first; for want of a section the tube's own.
        named: the tube's die, which serves only where its groove takes the section so; or None.

    Returns:
        The die, or None where there is none for the section as it lies.
    """
    made_on = die_for_bend(bend, dies)
    if made_on is not None or not dies:
        return made_on
    return named if named is not None and named in dies else nearest_die(bend.clr, dies)


def refit_targets(bends: Sequence[Bend], dies: Sequence[Sequence[Die]], named: Die | None) -> dict[float, list[int]]:
    """Which bends a refit moves to which radius: those that no die makes as drawn, and fitted ones to the exact radius.

    Args:
        bends: of the tube.
        dies, named: for each bend, as for `die_of`.

    Returns:
        Numbers of bends, from 0, by radius in mm.
    """
    targets: dict[float, list[int]] = {}
    for i, (bend, own) in enumerate(zip(bends, dies, strict=True)):
        die = die_of(bend, own, named)
        if die is not None and (bend.clr_uncertainty > 0.0 or die_for_bend(bend, own) is None):
            targets.setdefault(die.clr, []).append(i)
    return targets


# --- how each bend sits in the machine --------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Seat:
    """How a bend sits in the machine.

    Attributes:
        die: the die it is made on, or None when the shop has none for the section.
        turned: a section of two sizes lies a quarter turn from its first bend there.
    """

    die: Die | None
    turned: bool


def seats(tube: Tube, shop: Shop) -> list[Seat]:
    """How each bend sits in the machine, from end A: on the die that `converter.shop.assign.die_of` says.

    For a rectangle that is rolled a quarter turn that is one for the other face.
    """
    bends = tube.run.table.bends
    named = None if tube.die is None else shop.die(tube.die)
    section = tube.section
    found = []
    # most bends of a tube have one radius
    known: dict[tuple[bool, float | None, float], Seat] = {}
    for bend, turned in zip(bends, turned_by_bend(section, bends), strict=True):
        key = turned, bend.clr, bend.clr_uncertainty
        if key not in known:
            if section is None:
                dies: tuple[Die, ...] = () if named is None else (named,)
            else:
                dies = shop.dies_for(section, turned)
            known[key] = Seat(die_of(bend, dies, named), turned)
        found.append(known[key])
    return found


def die_names(tube: Tube, shop: Shop) -> tuple[str, ...]:
    """The names of the dies that a tube is bent on, each once, from end A."""
    return tuple(dict.fromkeys(seat.die.name for seat in seats(tube, shop) if seat.die is not None))
