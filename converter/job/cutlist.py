"""The cutting list of one job or several: every stick they need, and which bars it is cut from."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from math import ceil, fsum

from converter.bending.setup.setup import Setup
from converter.errors import OptionError
from converter.findings import Clause, Finding
from converter.geometry.vectors import within_half_turn
from converter.job.job import Job
from converter.job.mitres import SharedCut, Slant, shared_cuts, slants
from converter.job.shown import name_among, refusals, some_named
from converter.model.end_cuts import EndCuts
from converter.model.part import Part
from converter.model.section import Section
from converter.names import fits
from converter.nesting.model import Nest, Pattern, StockBar, WantedLength
from converter.nesting.solve import DIVES, SECONDS, nest
from converter.progress import steps
from converter.quoting import quoted, shortened
from converter.shop.metals import kg_per_mm, same_metal
from converter.shop.model import SAME_STOCK, Shop, Stick
from converter.shop.rack import Rack
from converter.shop.stock import goes_with, price_for
from converter.tolerances import PAST_LENGTH
from converter.units import Display, rounded_up

#: What the audit tells by the shop file's bars, and the list by those it cuts from: it leaves out what no bar is for.
_BY_BARS = frozenset({("stick-too-long", "rack"), ("stick-too-long", "saw")})
#: Tries for a sheet: the plain one and another, which is a tenth of a second for an ordinary job.
_FEW_DIVES = 2
#: Parts of which the program over patterns would take seconds.
_MANY_PARTS = 60
#: Names listed where a pattern meets none.
_MOST_NAMES = 6


@dataclass(frozen=True, slots=True)
class Quantities:
    """How many of what is made.

    Attributes:
        jobs: how many times everything is made.
        parts: (pattern of names or layers, how many of each part like it in all).
    """

    jobs: int = 1
    parts: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class CutPiece:
    """Sticks that are equal: of one part.

    Attributes:
        name: of the part; of several inputs behind the input's own.
        length: cut length, mm: to long points, with the extra that bending needs; the saw's stop is this, rounded up.
        count: how many.
        cuts: of its ends.
        is_bent: whether it is bent, so that its ends are cut square first.
        slants: of ends A and B, where they may share a cut with a neighbour's.
    """

    name: str
    length: float
    count: int
    cuts: EndCuts = field(default_factory=EndCuts)
    is_bent: bool = False
    slants: tuple[Slant | None, Slant | None] = (None, None)


@dataclass(frozen=True, slots=True)
class Supply:
    """Bars of one length that the pieces of a group may be cut from.

    Attributes:
        stick: the bar; its count is None where as many are bought as it takes.
        origin: 'buy', 'rack' (of the rack file) or 'stock' (on hand by the shop file).
        price: of one, in the shop's currency, or None.
    """

    stick: Stick
    origin: str
    price: float | None


@dataclass(frozen=True)
class CutGroup:
    """Pieces of one section and metal, and how they are cut.

    Attributes:
        section, metal: of all of them.
        pieces: those that are cut, the longest first.
        supplies: what they may be cut from.
        plan: the patterns, by their numbers in ``pieces`` and ``supplies``, with the lengths that are cut (`cut_to`);
            None where there is no bar.
        by_price: whether least price was asked for; else least length, since a price is missing.
        kg_per_mm: mass of bar, or None where the density is not known.
        keep: the shortest drop that goes to the rack, mm.
        shared: the kinds of cut that two mitred ends may share, as the plan numbers them from 1.
    """

    section: Section
    metal: str | None
    pieces: tuple[CutPiece, ...]
    supplies: tuple[Supply, ...]
    plan: Nest | None
    by_price: bool
    kg_per_mm: float | None
    keep: float
    shared: tuple[SharedCut, ...] = ()

    def cut_to(self, display: Display) -> CutGroup:
        """The same bars, cut to the lengths that a display shows, as the set-up does: rounded up.

        Of another display than the job's they may not fit, see `too_long`.
        """
        if self.plan is None:
            return self
        cut = tuple(
            replace(wanted, length=rounded_up(piece.length, display))
            for wanted, piece in zip(self.plan.pieces, self.pieces, strict=True)
        )
        return self if cut == self.plan.pieces else replace(self, plan=replace(self.plan, pieces=cut))

    def too_long(self, pattern: Pattern) -> float:
        """What the pieces of a bar, as cut, are longer than it, mm; 0 where they fit."""
        assert self.plan is not None
        over = pattern.over(self.plan.bars, self.plan.pieces, self.plan.saw)
        return over if over > PAST_LENGTH else 0.0

    @property
    def lacking(self) -> tuple[int, ...]:
        """How many of each piece no bar was found for."""
        return tuple(piece.count for piece in self.pieces) if self.plan is None else self.plan.lacking

    def left(self, pattern: Pattern) -> float:
        """What is left of each bar of a pattern behind its last cut, mm; to 1e-6, to show alike everywhere."""
        assert self.plan is not None
        return round(pattern.left(self.plan.bars, self.plan.pieces, self.plan.saw), 6)

    @cached_property
    def bought(self) -> tuple[tuple[Supply, int], ...]:
        """What is bought, and how many."""
        return self._used("buy")

    @cached_property
    def on_hand(self) -> tuple[tuple[Supply, int], ...]:
        """What is taken that is on hand, and how many."""
        return self._used("rack", "stock")

    @property
    def bars_length(self) -> float:
        """Of all bars that are cut, mm."""
        return fsum(supply.stick.length * times for supply, times in (*self.bought, *self.on_hand))

    @property
    def pieces_length(self) -> float:
        """Of all pieces that are cut, mm."""
        if self.plan is None:
            return fsum(piece.length * piece.count for piece in self.pieces)
        cut = zip(self.plan.pieces, self.plan.lacking, strict=True)
        return fsum(piece.length * (piece.count - less) for piece, less in cut)

    @cached_property
    def drops(self) -> tuple[tuple[float, int], ...]:
        """(length in mm, how many) of what is left and worth keeping, the longest first."""
        if self.plan is None:
            return ()
        counts: dict[float, int] = {}
        for pattern in self.plan.patterns:
            left = self.left(pattern)
            if self.is_drop(left):
                counts[left] = counts.get(left, 0) + pattern.times
        return tuple(sorted(counts.items(), reverse=True))

    def is_drop(self, left: float) -> bool:
        """Whether what is left of a bar, mm, goes to the rack: drop, or else scrap."""
        return left >= self.keep - PAST_LENGTH

    @property
    def price(self) -> float | None:
        """Of what is bought; None where a price is missing."""
        prices = [None if supply.price is None else supply.price * times for supply, times in self.bought]
        known = [price for price in prices if price is not None]
        return fsum(known) if len(known) == len(prices) else None

    @property
    def shared_count(self) -> int:
        """How many cuts are shared by mitred ends, in all bars."""
        patterns = () if self.plan is None else self.plan.patterns
        return sum(pattern.times * sum(1 for kind in pattern.shared if kind) for pattern in patterns)

    def head_angles(self, pattern: Pattern) -> list[float]:
        """Of the cut behind each piece of a bar, what the saw is turned from square, degrees."""
        return [self.shared[kind - 1].angle if kind else 0.0 for kind in pattern.shared]

    def bar_turns(self, pattern: Pattern) -> list[float | None]:
        """What the bar is turned by before the cut behind each piece, so that the saw leans the same way as before.

        Returns:
            Degrees since the cut in front of the piece, right-hand positive about the way from the bar's front end to
            its back, in (-180, 180]; None unless both cuts are shared.
        """
        turns: list[float | None] = []
        before = 0
        for i, kind in zip(pattern.pieces, pattern.shared, strict=True):
            # the long point in front lies opposite to that of the piece before; end A to end B turns the same both ways
            apart = self.pieces[i].cuts.apart or 0.0
            turns.append(within_half_turn(180.0 - apart) if kind and before else None)
            before = kind
        return turns

    def _used(self, *origins: str) -> tuple[tuple[Supply, int], ...]:
        if self.plan is None:
            return ()
        used = [(supply, self.plan.used(i)) for i, supply in enumerate(self.supplies) if supply.origin in origins]
        return tuple((supply, times) for supply, times in used if times)


@dataclass(frozen=True, slots=True)
class CutList:
    """Everything that is cut.

    Attributes:
        groups: by section and metal, in the order drawn.
        findings: what stands in the way, and which parts cannot be made as drawn.
        quantities: as asked for.
        currency: as the shop file has it, or ''.
        mitre: degrees up to which mitred ends may share a cut; 0 for none.
    """

    groups: tuple[CutGroup, ...]
    findings: tuple[Finding, ...]
    quantities: Quantities
    currency: str
    mitre: float = 0.0

    @property
    def piece_count(self) -> int:
        """Of the pieces that a bar was found for."""
        return sum(piece.count for group in self.groups for piece in group.pieces) - self.lacking_count

    @property
    def lacking_count(self) -> int:
        """Of the pieces that no bar was found for, though they are no longer than one."""
        return sum(sum(group.lacking) for group in self.groups)

    @property
    def bar_count(self) -> int:
        """Of all bars that are cut."""
        return sum(times for group in self.groups for _, times in (*group.bought, *group.on_hand))


def cut_list(
    jobs: Sequence[Job],
    quantities: Quantities | None = None,
    *,
    rack: Rack | None = None,
    buyable: Sequence[float] = (),
    mitre: float | None = None,
    seconds: float = SECONDS,
    dives: int = DIVES,
) -> CutList:
    """The cutting list of what is shown of jobs, all of one shop.

    Args:
        jobs: one or more.
        quantities: how many of what; each as drawn when None.
        rack: what is on hand; that of the shop file's stock with a count when None.
        buyable: mm, lengths of bar that can be bought of any section, on top of the shop file's stock without a count.
        mitre: degrees that the saw turns from square, so that mitred ends are cut back to back up to that angle; 0 for
            a saw that does not turn; what the shop file says when None.
        seconds, dives: that the search for patterns may take, for each section; see `converter.nesting.solve.nest`.

    Raises:
        OptionError: a pattern of quantities meets no part.
    """
    quantities = quantities or Quantities()
    shop = jobs[0].shop
    mitre = shop.cutting.mitre if mitre is None else mitre
    sorted_out: dict[tuple[object, str | None], list[CutPiece]] = {}
    sections: dict[tuple[object, str | None], tuple[Section, str | None]] = {}
    no_section: list[str] = []
    joints = [{(joint.tube, joint.end): joint for joint in job.joints} if mitre else {} for job in jobs]
    for at, part, setup in _parts(jobs):
        piece = _piece(name_among(jobs, jobs[at], part), part, setup, quantities)
        if mitre:
            piece = replace(piece, slants=slants(setup, joints[at]))
        section = part.first.section
        if section is None:
            no_section.append(piece.name)
            continue
        name = part.first.metal
        alike = (
            k
            for k, (of, other) in sections.items()
            if same_metal(other, name, shop.metals) and of.is_same_stock(section, SAME_STOCK)
        )
        key = next(alike, (section, name))
        sections.setdefault(key, (section, name))
        sorted_out.setdefault(key, []).append(piece)
    findings = refusals(jobs, _BY_BARS)
    too_long = set[str]()
    if no_section:
        findings.append(Finding("piece-no-section", values=some_named(no_section)))
    groups = []
    for key in steps(list(sorted_out), "sections nested"):
        section, metal_name = sections[key]
        pieces = sorted_out[key]
        group, told = _group(jobs[0], section, metal_name, pieces, rack, buyable, mitre, seconds, dives)
        groups.append(group)
        findings += told
        too_long |= {one.tube for one in told if one.code == "piece-too-long" and one.tube is not None}
    on_list_only = [name for name in _past_known_bars(jobs) if name not in too_long]
    if on_list_only:
        findings.append(Finding("bar-on-list-only", values=some_named(on_list_only)))
    if groups and not shop.cutting.is_given:
        findings.append(Finding("kerf-assumed", values={"kerf": shop.cutting.saw.kerf}))
    if groups and shop.is_demo:
        findings.append(Finding("demo-shop", variant="bars"))
    return CutList(tuple(groups), tuple(findings), quantities, shop.rates.currency, mitre)


def bars_for(job: Job, rack: Rack | None, buyable: Sequence[float]) -> tuple[Stick, ...]:
    """The bars that `cut_list` cuts the tubes of a job from; arguments as of that."""
    wanted = dict.fromkeys((tube.section, tube.metal) for tube in job.tubes if tube.section is not None)
    supplies = (_supplies(job.shop, section, metal, None, rack, buyable) for section, metal in wanted)
    return tuple(supply.stick for some in supplies for supply in some)


def first_cut_list(jobs: Sequence[Job]) -> CutList | None:
    """What jobs as drawn are cut from, by the shop file's stock; None where that has no bar for any of them.

    Worked out once for the same jobs, with few tries: it stands on sheets, which are to be quick and alike each time.
    Of very many parts the bars are filled one by one, and how much less there may be is told from the lengths alone.
    """
    kept = jobs[0].__dict__.setdefault("_kept", {})
    key = (first_cut_list.__qualname__, *jobs[1:])
    if key not in kept:
        is_large = sum(len(job.shown.parts) for job in jobs) > _MANY_PARTS
        cuts = cut_list(jobs, dives=_FEW_DIVES, seconds=0.0 if is_large else SECONDS)
        # sheets say themselves that the shop is invented
        cuts = replace(cuts, findings=tuple(finding for finding in cuts.findings if finding.code != "demo-shop"))
        kept[key] = cuts if any(group.plan is not None for group in cuts.groups) else None
    found: CutList | None = kept[key]
    return found


def _parts(jobs: Sequence[Job]) -> list[tuple[int, Part, Setup]]:
    """Every part of every job of which its cuts leave something, with the job's number."""
    return [
        (at, part, setup)
        for at, job in enumerate(jobs)
        for part, setup in job.shown.first_setups
        if not setup.is_nothing
    ]


def _past_known_bars(jobs: Sequence[Job]) -> list[str]:
    """The parts that are longer than any bar that shop and job file know of."""
    return [
        name_among(jobs, job, part)
        for job in jobs
        for part in job.shown.parts
        if any((one.code, one.variant) in _BY_BARS and one.tube in part.names for one in job.shown.findings)
    ]


def _piece(name: str, part: Part, setup: Setup, quantities: Quantities) -> CutPiece:
    """The stick of a part, with how many there are to be."""
    count = len(part.tubes) * quantities.jobs
    for pattern, wanted in quantities.parts:
        if _is_like(part, pattern):
            count = wanted
    is_bent = bool(setup.tube.run.table.bends)
    return CutPiece(name, setup.stick_length, count, setup.cuts, is_bent)


def check_quantities(jobs: Sequence[Job], quantities: Quantities) -> None:
    """Every pattern meets a part.

    Raises:
        OptionError: one does not.
    """
    for pattern, _ in quantities.parts:
        if not any(_is_like(part, pattern) for _, part, _ in _parts(jobs)):
            names = ", ".join([*dict.fromkeys(shortened(part.name) for _, part, _ in _parts(jobs))][:_MOST_NAMES])
            raise OptionError(f"--qty: no part has a name or a layer like {quoted(pattern)}: there are {names}.")


def _is_like(part: Part, pattern: str) -> bool:
    return fits(pattern, *(text for tube in part.tubes for text in (tube.name, tube.run.layer)))


def _group(
    job: Job, section: Section, metal: str | None, pieces: list[CutPiece], rack: Rack | None,
    buyable: Sequence[float], mitre: float, seconds: float, dives: int,
) -> tuple[CutGroup, list[Finding]]:  # fmt: skip
    """The pieces of one section and metal nested on its bars, and what stands in the way.

    They are nested at the lengths that the job's display shows, so that what a person cuts by fits.
    """
    shop = job.shop
    mass = kg_per_mm(section, metal, shop.metals)
    supplies = _supplies(shop, section, metal, mass, rack, buyable)
    words = {"section": section, "metal": Clause.of("of-metal", metal=metal) if metal else ""}
    saw, findings = shop.cutting.saw, []
    most = max((saw.longest(s.stick.length) for s in supplies if s.stick.count != 0), default=0.0)
    fitting = _longest_first(p for p in pieces if p.length <= most + PAST_LENGTH)
    if not supplies:
        findings.append(Finding("piece-no-bar", values={**words, **some_named([piece.name for piece in pieces])}))
        fitting = _longest_first(pieces)
    else:
        findings += [
            Finding("piece-too-long", tube=piece.name,
                    values={"length": piece.length, "most": most, "pieces": ceil(piece.length / max(most, 1.0))},
                    measured=piece.length, limit=most, unit="mm")
            for piece in pieces if piece not in fitting
        ]  # fmt: skip
    by_price = all(supply.price is not None for supply in supplies if supply.origin == "buy")
    plan, shared = None, list[SharedCut]()
    if supplies and fitting:
        bars = [
            StockBar(s.stick.length, s.stick.count, 0.0 if s.origin != "buy" else _cost(s, by_price)) for s in supplies
        ]
        shared, ends = shared_cuts([piece.slants for piece in fitting], saw.kerf, mitre)
        wanted = [
            # one that takes all of a bar stays as long as that
            WantedLength(min(rounded_up(piece.length, job.display), max(piece.length, most)), piece.count, pair)
            for piece, pair in zip(fitting, ends, strict=True)
        ]
        plan = nest(wanted, bars, replace(saw, savings=tuple(cut.saving for cut in shared)), seconds, dives)
        lacking = [piece.name for piece, count in zip(fitting, plan.lacking, strict=True) if count]
        if lacking:
            values = {**words, **some_named(lacking), "count": sum(plan.lacking)}
            findings.append(Finding("bars-lacking", values=values, measured=sum(plan.lacking)))
    group = CutGroup(
        section, metal, tuple(fitting), supplies, plan, by_price and bool(shop.prices), mass, shop.cutting.keep,
        tuple(shared),
    )  # fmt: skip
    return group, findings


def _longest_first(pieces: Iterable[CutPiece]) -> list[CutPiece]:
    """In the drawing's order where only rounding would tell lengths apart."""
    return sorted(pieces, key=lambda piece: -round(piece.length, 3))


def _cost(supply: Supply, by_price: bool) -> float:
    """What is to be least of a bar: nothing of one that is on hand."""
    if supply.origin != "buy":
        return 0.0
    return supply.price if by_price and supply.price else supply.stick.length


def _supplies(
    shop: Shop, section: Section, metal: str | None, mass: float | None, rack: Rack | None,
    buyable: Sequence[float],
) -> tuple[Supply, ...]:  # fmt: skip
    """What a section may be cut from: on hand first, then what can be bought."""
    rate = price_for(shop, section, metal)
    per_mm = None if rate is None else rate.per_mm
    if rate is not None and per_mm is None and mass is not None and rate.per_kg is not None:
        per_mm = rate.per_kg * mass

    def supply(stick: Stick, origin: str) -> Supply:
        return Supply(stick, origin, None if per_mm is None else per_mm * stick.length)

    here = [bar for bar in shop.stock if goes_with(bar, section, metal, shop.metals)]
    if rack is None:
        on_hand = [supply(bar, "stock") for bar in here if bar.count is not None]
    else:
        on_hand = [supply(bar, "rack") for bar in rack.bars if goes_with(bar, section, metal, shop.metals)]
    lengths = {bar.length for bar in here if bar.count is None} | set(buyable)
    buys = [supply(Stick(section, metal, length), "buy") for length in sorted(lengths)]
    return (*[one for one in on_hand if one.stick.count], *buys)
