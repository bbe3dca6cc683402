"""Springback: what the stop must be set to so that a bend comes out at its angle.

From the shop's own test bends where there are any (``stop = a + b x angle`` by least squares: ``a`` is
play that bends nothing, ``b`` what springs back), else from the plastic moment and E I of the section,
which is an estimate and says so. The estimate: unloading is elastic, the length of the arc is kept, so
of a loaded angle the part ``f = M R / (E I)`` springs back, where M is the moment of an elastic,
perfectly plastic section bent to the radius R (textbook; for a solid rectangle it is Gardiner 1957,
Trans. ASME 79:1-9). docs/springback.md.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from math import radians, sin

from converter.errors import OptionError
from converter.model.section import SHAPES, Outline, Section
from converter.quoting import quoted
from converter.shop.metals import find_metal, same_metal
from converter.shop.model import Die, Metal, Shop, Trial
from converter.tolerances import PAST_ANGLE, same_within
from converter.units import Display

#: mm; walls this close are one: 0.065 in and 1.6 mm are, 0.058 in and 0.065 in are not. Common practice, no source.
WALL_MATCH = same_within(0.06)
#: Degrees; test bends whose angles lie closer together than this cannot tell a slope from an offset.
LEAST_SPREAD = 5.0
#: Degrees; a line that starts this little off zero starts at zero but for rounding.
_NO_PLAY = 1e-9
#: Degrees; a test fit this close to its target is there.
CLOSE_ENOUGH = same_within(0.05)


@dataclass(frozen=True, slots=True)
class Springback:
    """What springs back on one die in one metal and section: ``stop = a + b x angle``.

    Attributes:
        source: 'tests', 'estimate' or 'none' (then the stop is the angle itself).
        a: degrees of the stop that go before anything bends, or that the straight ends give back: no part of the arc.
        b: degrees of stop per degree that comes out.
        residual: furthest that a test bend's stop lies from the line, degrees; None when nothing is left over to tell.
        count: test bends used.
        low, high: least and greatest part of the stop that springs back: of the tests one by one, or
            of the estimate at yield and at tensile strength.
        stretch: how much longer the arc is than the stick it used, as a part of that stick (0.01 is
            one percent), from recorded lengths; None without any.
        note: one or more sentences on where the figures come from and how far to trust them.
        used: the test bends used.
        likely: by how much of the die's radius the metal's strengths open it, beside the tests; None where not known.
        lacking: what an estimate lacks: 'section', 'metal' or 'strength'; '' for nothing, or what cannot be helped.
    """

    source: str
    a: float = 0.0
    b: float = 1.0
    residual: float | None = None
    count: int = 0
    low: float = 0.0
    high: float = 0.0
    stretch: float | None = None
    note: str = ""
    used: tuple[Trial, ...] = field(default=(), repr=False)
    likely: float | None = None
    lacking: str = ""

    @property
    def play(self) -> float:
        """Degrees of the stop that bend nothing; a line that starts below zero has none."""
        return max(self.a, 0.0)

    @property
    def slope(self) -> float | None:
        """Degrees of stop per degree by which a bend is bent on; None where only the bend just measured can tell."""
        return self.b if self.source == "tests" and self.count > 1 and self.a != 0.0 else None

    def stop(self, target_deg: float) -> float:
        """The stop to set, in degrees, so that it comes out at ``target_deg`` (above zero)."""
        return self.a + self.b * target_deg

    def outcome(self, stop_deg: float) -> float:
        """The angle in degrees that a stop comes out at; 0 when all of it springs back."""
        return max(0.0, (stop_deg - self.a) / self.b)

    def stop_range(self, target_deg: float) -> tuple[float, float]:
        """Least and greatest stop that the figures allow: the estimate's range, or the tests' residual either way."""
        if self.source == "estimate":
            return target_deg / (1.0 - self.low), target_deg / (1.0 - self.high)
        off = self.residual or 0.0
        return self.stop(target_deg) - off, self.stop(target_deg) + off

    def radius_out(self, clr_mm: float, stop_deg: float | None = None) -> float:
        """Centerline radius in mm after springback, the length of the arc kept: R (stop - play) / angle.

        Args:
            clr_mm: radius of the die.
            stop_deg: the stop; without it the radius by the degrees of stop per degree alone.

        Raises:
            OptionError: nothing of the stop stays bent.
        """
        if stop_deg is None:
            return clr_mm * self.b
        out = self.outcome(stop_deg)
        if out <= 0.0:
            raise OptionError(f"A stop of {stop_deg:.2f}° springs all the way back: set it further.")
        return clr_mm * self.opening(out)

    def opening(self, angle_deg: float) -> float:
        """Radius that comes out over the die's, of a bend that comes out at an angle: never below 1.

        The stop less its play is what the die bends; its arc keeps its length while it opens to the angle.
        """
        return max((self.stop(angle_deg) - self.play) / angle_deg, 1.0)


def springback_for(
    shop: Shop, die: Die, section: Section | None, metal_name: str | None, turned: bool = False
) -> Springback:
    """What is known of springback on a die: its test bends in this metal and wall, else an estimate.

    Tests that name the metal and the wall come first; else those that leave one or both out, which
    is said. Tests in another metal or another wall are not used.

    Args:
        shop: whose test bends and metals count.
        die: the die.
        section: the tube's section, or None when unknown.
        metal_name: the tube's metal, or None when unknown.
        turned: the section lies a quarter turn from its first bend (matters to rectangles only).
    """
    tests = [test for test in shop.tests if test.die.casefold() == die.name.casefold()]
    used, note = matching_tests(tests, section, metal_name, shop)
    guess = estimate(section, find_metal(metal_name, shop.metals), die.clr, metal_name, turned)
    if used:
        likely = 1.0 / (1.0 - guess.high) - 1.0 if guess.source == "estimate" else None
        return replace(fit_tests(used, die.clr, note), likely=likely)
    return replace(guess, note=" ".join(part for part in (note, guess.note) if part))


def matching_tests(
    tests: list[Trial], section: Section | None, metal_name: str | None, shop: Shop
) -> tuple[list[Trial], str]:
    """The test bends of one die that speak for a metal and a wall, and what is to be said of the choice.

    Args:
        tests: of the die.
        section, metal_name: of the tube, None for unknown.
        shop: whose metals count.
    """

    def metal_fits(test: Trial) -> bool:
        return metal_name is None or test.metal is None or same_metal(test.metal, metal_name, shop.metals)

    def wall_fits(test: Trial) -> bool:
        return section is None or test.wall is None or abs(test.wall - section.wall) <= WALL_MATCH

    fits = [test for test in tests if metal_fits(test) and wall_fits(test)]
    if not fits:
        if not tests:
            return [], ""
        made = sorted({test.metal or "a metal not named" for test in tests})
        why = "another metal" if not any(metal_fits(test) for test in tests) else "another wall or metal"
        return [], f"The {len(tests)} test bends of this die are in {why} ({', '.join(made)}) and were not used."
    named = [(test.metal is not None) + (test.wall is not None) for test in fits]
    passed_over = sum(score < max(named) for score in named)
    fits = [test for test, score in zip(fits, named, strict=True) if score == max(named)]
    metals: list[str] = []
    for test in fits:
        if test.metal is not None and not any(same_metal(test.metal, one, shop.metals) for one in metals):
            metals.append(test.metal)
    if metal_name is None and len(metals) > 1:
        return [], f"The test bends of this die are in {', '.join(metals)}: name the metal to have them used."
    walls = [test.wall for test in fits if test.wall is not None]
    if section is None and walls and max(walls) - min(walls) > WALL_MATCH:
        return [], "The test bends of this die are in several walls: name the section to have them used."
    loose = []
    if metal_name is None:
        loose.append(f"the metal is not named and that of the tests is {metals[0]}" if metals else "no metal is named")
    elif any(test.metal is None for test in fits):
        loose.append("some do not name their metal" if metals else "they do not name their metal")
    if section is None:
        loose.append("the wall is not known")
    elif any(test.wall is None for test in fits):
        loose.append("some do not name their wall" if walls else "they do not name their wall")
    notes = [f"The test bends may be of other tube: {' and '.join(loose)}."] if loose else []
    if passed_over:
        one = passed_over == 1
        notes.append(
            f"{passed_over} test bend{'' if one else 's'} that name{'s' if one else ''} less of metal and wall "
            f"{'was' if one else 'were'} not used."
        )
    return fits, " ".join(notes)


def fit_tests(tests: list[Trial], clr_mm: float, note: str = "") -> Springback:
    """Least squares of ``stop = a + b x angle``; in proportion (a = 0) when the tests cannot tell a slope.

    Args:
        tests: one or more, all of one die, metal and wall; every angle above zero.
        clr_mm: radius of the die, for the stretch.
        note: what to say first.
    """
    angles, stops = [test.angle for test in tests], [test.stop for test in tests]
    n = len(tests)
    a, b, free = 0.0, sum(x * y for x, y in zip(angles, stops, strict=True)) / sum(x * x for x in angles), n - 1
    sloped = False
    if max(angles) - min(angles) >= LEAST_SPREAD - PAST_ANGLE:
        mean, middle = sum(angles) / n, sum(stops) / n
        slope = sum((x - mean) * (y - middle) for x, y in zip(angles, stops, strict=True))
        slope /= sum((x - mean) ** 2 for x in angles)
        if slope > 0.0:
            a, b, free, sloped = middle - slope * mean, slope, n - 2, True
            a = 0.0 if abs(a) < _NO_PLAY else a
    off = [abs(y - a - b * x) for x, y in zip(angles, stops, strict=True)]
    back = [1.0 - x / y for x, y in zip(angles, stops, strict=True)]
    measured = [test for test in tests if test.length is not None]
    consumed = sum(test.length or 0.0 for test in measured)
    arcs = sum(clr_mm * radians(test.stop - max(a, 0.0)) for test in measured)
    words = [note, "One test bend gives a proportion." if n == 1 else ""]
    if n > 1 and not sloped:
        words.append("Their angles lie too close together for more than a proportion.")
    return Springback(
        source="tests",
        a=a,
        b=b,
        residual=max(off) if free > 0 else None,
        count=n,
        low=min(back),
        high=max(back),
        stretch=arcs / consumed - 1.0 if consumed > 0.0 else None,
        note=" ".join(word for word in words if word),
        used=tuple(tests),
    )


def estimate(
    section: Section | None, metal: Metal | None, clr_mm: float, metal_name: str | None = None, turned: bool = False
) -> Springback:
    """Springback without test bends, from the section, the metal and the radius; 'none' when one is not known.

    The figure is that of the yield strength; it ranges up to that of the tensile strength, as metal
    hardens while it bends. Minimum strengths are used, so it is more likely too low than too high.
    """
    if section is None:
        return Springback(
            "none", note="There are no test bends, and without a section there is no estimate.", lacking="section"
        )
    if metal is None:
        what = f"The metal {quoted(metal_name)} is not known" if metal_name else "The metal is not named"
        return Springback("none", note=f"There are no test bends. {what}, so there is no estimate.", lacking="metal")
    stress = metal.yield_mpa or metal.tensile_mpa
    if stress is None or metal.modulus_gpa is None:
        lacks = "yield_mpa" if stress is None else "modulus_gpa"
        return Springback(
            "none",
            note=f"There are no test bends, and {quoted(metal.name)} has no {lacks}: no estimate.",
            lacking="strength",
        )
    low = springback_part(section, stress, metal.modulus_gpa, clr_mm, turned)
    high = springback_part(section, max(stress, metal.tensile_mpa or stress), metal.modulus_gpa, clr_mm, turned)
    if high >= 1.0:
        note = f"By estimate {metal.name} springs all the way back from so wide a radius: make test bends."
        return Springback("none", note=note)
    return Springback(
        source="estimate",
        b=1.0 / (1.0 - low),
        low=low,
        high=high,
        note=(
            f"An estimate from the minimum strength of {metal.name}: {100.0 * low:.2f} % springs back at yield, "
            f"{100.0 * high:.2f} % at tensile strength; test bends would settle it."
        ),
    )


#: What a person is told after a test fit; the bench view of the job sheet fills the same words in.
IT_IS_THERE = "It is at {measured}°, as wanted: leave it."
TOO_FAR = (
    "It has gone {over}° too far: the end of the centerline is {leg} of leg behind the bend; a bender cannot take "
    "that back."
)
BELOW_THE_SCALE = "{left}° to go, less than the machine's scale can add: leave it at its stop of {stop}°."
BEND_ON = "{left}° to go: set the stop to {stop}° ({how})."
#: Where the next stop comes from: the measured bend alone, or also the test bends.
BY = ("the proportion just measured", "the slope of the test bends")
#: How far an end is off.
PER_LEG = {"mm": "{} mm off for every 100 mm", "in": "{} in off for every 10 in"}
MEASURE_AGAIN = "A bend set to {stop}° cannot come out at {measured}°: springback only takes away; measure again."


@dataclass(frozen=True, slots=True)
class Resume:
    """What to do after a test fit.

    Attributes:
        stop: the next stop to set, degrees; None when it is there or has gone too far.
        left: degrees still to bend; 0 when it is there or has gone too far.
        over: degrees that it has gone too far; 0 when it has not.
        moves: how far the end of the centerline is off, in mm per 100 mm of leg behind the bend.
        message: a sentence for the person at the bender.
        stop_set: ``stop`` as the machine is set to it; None where it is left as it is.
    """

    stop: float | None
    left: float
    over: float
    moves: float
    message: str
    stop_set: float | None = None


def resume(
    springback: Springback,
    stop_set: float,
    measured: float,
    target: float,
    display: Display | None = None,
    on_scale: Callable[[float], float] | None = None,
) -> Resume:
    """The next stop after a bend was stopped and measured.

    Two test bends or more give the slope, and the line is moved onto what was just measured;
    otherwise the measured bend itself gives the proportion.

    Args:
        springback: of the die, metal and section.
        stop_set: the stop it was bent to, degrees.
        measured: the angle it came out at, degrees.
        target: the angle wanted, degrees.
        display: how the message shows lengths; in mm for None.
        on_scale: a stop as the machine can be set to it, degrees; any can be for None.

    Raises:
        OptionError: an angle is not above zero and below 360, or it came out at more than the stop.
    """
    for name, value in (("stop", stop_set), ("measured angle", measured), ("target", target)):
        if not 0.0 < value < 360.0:
            raise OptionError(f"The {name} must lie between 0 and 360 degrees, not {value:g}.")
    if measured > stop_set:
        raise OptionError(MEASURE_AGAIN.format(stop=f"{stop_set:g}", measured=f"{measured:g}"))
    off = target - measured
    moves = 200.0 * sin(radians(abs(off)) / 2.0)
    if abs(off) <= CLOSE_ENOUGH:
        return Resume(None, 0.0, 0.0, moves, IT_IS_THERE.format(measured=f"{measured:.2f}"))
    if off < 0.0:
        return Resume(None, 0.0, -off, moves, TOO_FAR.format(over=f"{-off:.2f}", leg=_per_leg(moves, display)))
    # the line set = a + b x angle, moved onto what was just measured
    b = stop_set / measured if springback.slope is None else springback.slope
    a = 0.0 if springback.slope is None else stop_set - b * measured
    stop = a + b * target
    given = stop if on_scale is None else on_scale(stop)
    if given <= stop_set:
        message = BELOW_THE_SCALE.format(left=f"{off:.2f}", stop=f"{stop_set:.2f}")
        return Resume(stop, off, 0.0, moves, message)
    message = BEND_ON.format(left=f"{off:.2f}", stop=f"{given:.2f}", how=BY[springback.slope is not None])
    return Resume(stop, off, 0.0, moves, message, given)


def _per_leg(moves: float, display: Display | None) -> str:
    """How far an end is off, mm per 100 mm, in round figures of the unit shown."""
    if display is not None and display.unit == "in":
        return PER_LEG["in"].format(f"{moves / 10.0:.3f}")
    return PER_LEG["mm"].format(f"{moves:.2f}")


def spread_words(springback: Springback) -> str:
    """The law in one line: ``stop = 1.20 + 1.0185 x angle, within 0.30°``."""
    law = f"stop = {springback.b:.5g} x angle"
    if springback.a:
        law = f"stop = {springback.a:.3g} + {springback.b:.5g} x angle"
    return law if springback.residual is None else f"{law}, within {springback.residual:.2f}°"


def section_on(die: Die, wall_mm: float | None, display: Display | None = None) -> Section | None:
    """The section of a given wall that fills a die's groove; None without a wall.

    A wall of half the size is a solid bar. Square and rectangular tube gets corners of two walls.

    Raises:
        OptionError: the wall is zero or over half of what the die takes.
    """
    if wall_mm is None:
        return None
    half = min(die.size, die.height) / 2.0
    shown = display or Display()
    if wall_mm <= 0.0 or wall_mm > half + WALL_MATCH:
        raise OptionError(
            f"A wall of {shown.length(wall_mm)} does not go with the die {quoted(die.name)} "
            f"({die.groove(shown)}): it must be above zero and no more than half the size."
        )
    shape = SHAPES[die.shape]
    if shape.solid is not None and wall_mm >= half - WALL_MATCH:
        return Section(shape.solid, die.size, half)
    if wall_mm >= half:
        raise OptionError(f"The die {quoted(die.name)} takes {die.shape} tube, and that wall leaves no bore.")
    return Section(*shape.filling(die.size, die.height, wall_mm))


# --- unloading: the moment of an elastic, perfectly plastic section over E I ------------------


def yielding_modulus(section: Section, elastic_half: float, turned: bool = False) -> float:
    """Moment per unit of yield stress of a section bent past yield, mm3: elastic, perfectly plastic.

    The metal within ``elastic_half`` of the axis is still elastic, the rest is at yield: the elastic
    part's I over that distance, and the plastic part's integral of abs(y) dA. It goes to Z as the
    bend tightens. A hollow section is the outer outline less the inner one at the same distance.

    Args:
        section: the tube's section.
        elastic_half: yield stress x radius / modulus of elasticity, mm, above zero.
        turned: it lies a quarter turn from its first bend (matters to sections of two sizes).
    """
    outer, *inner = (loop.turned() if turned else loop for loop in section.loops)
    return _yielding(outer, elastic_half) - sum(_yielding(bore, elastic_half) for bore in inner)


def springback_part(
    section: Section, stress_mpa: float, modulus_gpa: float, clr_mm: float, turned: bool = False
) -> float:
    """The part f of the loaded angle that springs back, from 0 to 1 (1: it never yields).

    ``f = M R / (E I)`` with the exact elastic, perfectly plastic moment of the section.

    Args:
        section: the tube's section.
        stress_mpa: stress at which the metal flows, MPa.
        modulus_gpa: modulus of elasticity, GPa.
        clr_mm: centerline radius on the die.
        turned: as for `yielding_modulus`.
    """
    own = section.about_axis(turned)
    elastic_half = stress_mpa * clr_mm / (modulus_gpa * 1000.0)
    if elastic_half >= own.depth / 2.0:
        return 1.0
    return min(1.0, elastic_half * yielding_modulus(section, elastic_half, turned) / own.inertia)


def _yielding(outline: Outline, elastic_half: float) -> float:
    _, first, second = outline.within(elastic_half)
    return second / elastic_half + outline.within(outline.height / 2.0)[1] - first
