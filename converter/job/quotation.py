"""What a job comes to: metal, work and price of each part, from the rates of the shop. Estimates, and called so.

`quotation_rows` is the table of it, for the terminal and the job sheet alike.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from math import fsum

from converter.bending.setup.setup import Setup
from converter.findings import Finding
from converter.findings.wording import listed
from converter.job.job import Job
from converter.job.shown import refusals
from converter.joints.weld import weld_length
from converter.model.part import Part
from converter.model.run import Tube
from converter.quoting import one_line
from converter.shop.metals import kg_per_mm
from converter.shop.model import Rates
from converter.shop.stock import price_for
from converter.units import Display, rounded_up
from converter.words import mass_text

#: What rates count, by name, in words.
COUNTED = {"tube": "each tube", "cut": "saw cuts", "cope": "copes", "bend": "bends", "weld": "weld"}
_MOST_NAMES = 3
#: Heads of the columns of `quotation_rows`: of one piece, up to its price; then of all of the part.
QUOTATION_HEADS = (
    "part", "make", "cut length", "mass", "bends", "saw cuts", "copes", "weld",
    "minutes", "metal", "work", "price", "total",
)  # fmt: skip
_DASH = "-"
_Sum = Callable[[str], float | None]


@dataclass(frozen=True, slots=True)
class QuotationLine:
    """One tube, made as its part is. Lengths mm, masses kg, times minutes; None where the shop file says not enough.

    Attributes:
        tube: its name.
        stick: length of bar it takes, extra included.
        mass: of that bar.
        bends: how many.
        cuts: saw cuts: both ends of the stick, and again where extra is trimmed off an end.
        copes: ends that are cut to fit, by more than the saw's square cut.
        weld: length of weld at its own cut ends; see `converter.joints.weld`.
        minutes: of work, of all that has a rate.
        metal_price: of the bar, to the cent, so that what is shown of one piece and of all of them agree.
        work_price: of the minutes, in the same way.
    """

    tube: str
    stick: float
    mass: float | None
    bends: int
    cuts: int
    copes: int
    weld: float
    minutes: float | None
    metal_price: float | None
    work_price: float | None

    @property
    def price(self) -> float | None:
        """Of metal and work, as far as both are known."""
        if self.metal_price is None or self.work_price is None:
            return None
        return self.metal_price + self.work_price


@dataclass(frozen=True, slots=True)
class QuotationPart:
    """A part: equal tubes. Only their welds may differ, where one is mitred and another one coped.

    Attributes:
        part: of the tubes shown.
        lines: of its tubes.
    """

    part: Part
    lines: tuple[QuotationLine, ...]

    @property
    def off(self) -> int:
        """How many of it are in the quotation of one job."""
        return len(self.lines)

    def each(self, what: str) -> float | None:
        """An attribute of one piece, the mean of them all; None where it is not known."""
        whole = self.whole(what)
        return None if whole is None else whole / self.off

    def whole(self, what: str) -> float | None:
        """Sum of an attribute over all its tubes, in one job; None where it is not known."""
        known = [value for line in self.lines if (value := getattr(line, what)) is not None]
        return fsum(known) if known else None


@dataclass(frozen=True, slots=True)
class Quotation:
    """A whole job.

    Attributes:
        lines: of the tubes shown of which their cuts leave something, in their order.
        parts: the same by part, in their order.
        jobs: how many times the job is made.
        currency: as the shop file has it, or ''.
        unrated: what was counted of which the shop file has no rate, as of `COUNTED`.
        unpriced: names of the parts whose bar has no price.
        no_hour: whether the price of an hour is missing.
        findings: which parts cannot be made as drawn.
        invented: whether the rates are the demo shop's.
    """

    lines: tuple[QuotationLine, ...]
    parts: tuple[QuotationPart, ...]
    jobs: int
    currency: str
    unrated: tuple[str, ...]
    unpriced: tuple[str, ...]
    no_hour: bool
    findings: tuple[Finding, ...] = ()
    invented: bool = False

    @property
    def off(self) -> int:
        """How many tubes one job takes."""
        return len(self.lines)

    def total(self, what: str) -> float | None:
        """Sum of an attribute over all lines and jobs; None where no line knows it. Unknown ones count nothing."""
        known = [value for line in self.lines if (value := getattr(line, what)) is not None]
        return self.jobs * fsum(known) if known else None

    @property
    def notes(self) -> list[str]:
        """That it is an estimate, what it counts, and what it does not for want of a rate: whole sentences."""
        notes = [
            "An estimate from the shop file's rates. A row is for one piece, total for all of the part. Saw cuts are "
            "both ends of each tube, and again where extra is trimmed; weld is once around each end that is cut to "
            "fit, and half of that at each end of a mitre. Fitting up, finishing, waste of sticks and transport are "
            "not in it."
        ]
        if self.invented:
            notes.append("These rates are those of the invented demo shop: name your own shop file with --shop.")
        if self.unrated:
            work = listed([COUNTED[name] for name in self.unrated])
            notes.append(f"Not counted, since the shop file has no rate for it under [rates]: {work}.")
        if self.unpriced:
            more = len(self.unpriced) - _MOST_NAMES
            names = [*map(one_line, self.unpriced[:_MOST_NAMES]), *([f"{more} more"] if more > 0 else [])]
            whose = "its" if len(self.unpriced) == 1 else "their"
            notes.append(f"No [[price]] fits {listed(names)}, so {whose} metal and price are not known.")
        if self.no_hour:
            notes.append("Work has no price, since [rates] has no hour.")
        return notes


def quotation(job: Job, jobs: int = 1) -> Quotation:
    """What the tubes shown of a job come to. All tubes of a part are made as its first one, by its set-up.

    Args:
        job: with its shop's rates and prices.
        jobs: how many times it is made; one or more.
    """
    shop, shown = job.shop, job.shown
    welds: dict[str, float] = {}
    for joint in shown.joints:
        welds[joint.tube] = welds.get(joint.tube, 0.0) + weld_length(joint)
    parts = [
        QuotationPart(part, tuple(_line(job, tube, setup, welds.get(tube.name, 0.0)) for tube in part.tubes))
        for part, setup in shown.first_setups
        if not setup.is_nothing
    ]
    line_of = {line.tube: line for part in parts for line in part.lines}
    lines = [line_of[tube.name] for tube in shown.tubes if tube.name in line_of]
    counted = {"tube": len(lines)} | {
        name: sum(getattr(line, attribute) for line in lines)
        for name, attribute in (("cut", "cuts"), ("cope", "copes"), ("bend", "bends"), ("weld", "weld"))
    }
    return Quotation(
        tuple(lines),
        tuple(parts),
        jobs,
        shop.rates.currency,
        tuple(name for name, count in counted.items() if count > 0 and getattr(shop.rates, name) is None),
        tuple(part.part.name for part in parts if part.whole("metal_price") is None),
        shop.rates.hour is None,
        tuple(refusals([job])),
        shop.is_demo,
    )


def _line(job: Job, tube: Tube, setup: Setup, weld: float) -> QuotationLine:
    shop = job.shop
    stick = setup.stick_length
    per_mm = kg_per_mm(tube.section, tube.metal, shop.metals)
    mass = None if per_mm is None else per_mm * stick
    bends = len(tube.run.table.bends)
    trims = sum(extra > 0.0 for extra in (setup.extra_a, setup.extra_b))
    # a square end is where the saw cut the stick: it takes no other cut
    cuts, copes = 2 + trims, sum(cut.saw_angle != 0.0 for cut in setup.cuts.by_end.values())
    minutes = _minutes(shop.rates, {"tube": 1, "cut": cuts, "cope": copes, "bend": bends, "weld": weld})
    price = price_for(shop, tube.section, tube.metal)
    metal_price = None
    if price is not None:
        by_mass = None if mass is None or price.per_kg is None else mass * price.per_kg
        metal_price = _to_cent(by_mass if price.per_mm is None else stick * price.per_mm)
    hour = shop.rates.hour
    work_price = _to_cent(None if minutes is None or hour is None else minutes / 60.0 * hour)
    return QuotationLine(tube.name, stick, mass, bends, cuts, copes, weld, minutes, metal_price, work_price)


def _to_cent(price: float | None) -> float | None:
    return None if price is None else round(price, 2)


def _minutes(rates: Rates, counts: dict[str, float]) -> float | None:
    known = [count * rate for name, count in counts.items() if (rate := getattr(rates, name)) is not None]
    return fsum(known) if known else None


def money_text(estimate: Quotation) -> str:
    """In what the prices are: ``prices in USD``."""
    return f"prices in {estimate.currency}" if estimate.currency else "prices in the shop's currency"


def quotation_rows(estimate: Quotation, display: Display, *, units: bool = False) -> list[list[str]]:
    """The cells, as of `QUOTATION_HEADS`: a row per part for one piece of it, the last one for all pieces and jobs.

    Args:
        estimate: of a job.
        display: how lengths and masses are shown.
        units: whether lengths stand with their unit.
    """

    def length(mm_in: Callable[[Display], float]) -> str:
        return display.each(lambda one: one.length(mm_in(one)) if units else one.number(mm_in(one)))

    def stick(part: QuotationPart, one: Display) -> float:
        return rounded_up(part.each("stick") or 0.0, one)

    def row(
        name: str, off: str, of: _Sum, sticks: Callable[[Display], float], price: str, total: float | None
    ) -> list[str]:
        mass = of("mass")
        return [
            name, off, length(sticks), _DASH if mass is None else mass_text(mass, display),
            *(f"{of(what) or 0.0:.0f}" for what in ("bends", "cuts", "copes")), length(lambda _: of("weld") or 0.0),
            _number(of("minutes"), 0), _number(of("metal_price"), 2), _number(of("work_price"), 2), price,
            _number(total, 2),
        ]  # fmt: skip

    rows = []
    for part in estimate.parts:
        whole = part.whole("price")
        total = None if whole is None else estimate.jobs * whole
        price = _number(part.each("price"), 2)
        rows.append(row(part.part.name, str(part.off), part.each, partial(stick, part), price, total))
    times = "" if estimate.jobs == 1 else f" x {estimate.jobs}"

    def all_sticks(one: Display) -> float:
        return fsum(estimate.jobs * part.off * stick(part, one) for part in estimate.parts)

    count = str(estimate.jobs * estimate.off)
    rows.append(row(f"all{times}", count, estimate.total, all_sticks, "", estimate.total("price")))
    return rows


def _number(value: float | None, places: int) -> str:
    return _DASH if value is None else f"{value:.{places}f}"
