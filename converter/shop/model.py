"""What a shop owns and what its work costs, frozen. Lengths mm, angles degrees.

Words: the *clamp* holds the tube ahead of the bend; *between* is the least straight between two
bends; *tail* the least straight behind the last bend; the *mark offset* is measured from the start
of the bend to where the pencil mark goes, positive toward the end that is fed first.

Machine coordinates: the origin is the centre of the bend (the die's axis), x points ahead (the way the
stick is fed), z up, y to the left of someone who looks ahead. docs/sweep.md shows it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from difflib import get_close_matches
from math import isfinite

from converter.errors import GeometryError, ShopError
from converter.geometry.vectors import Vec
from converter.model.section import SHAPES, Section
from converter.nesting.model import Saw
from converter.quoting import quoted
from converter.tolerances import same_within
from converter.units import Display, sizes_text

#: A die takes a section whose outside size differs by no more than this (mm). It lets the inch and the
#: metric column of one nominal size pass (1.660 in pipe against 42.2 or 42.4 mm) and keeps 25 mm tube
#: out of a 1 in groove (0.4 mm): common practice, no source.
SIZE_MATCH = same_within(0.25)
#: Degrees that rounding a turn's distance around the tube may cost: what is drawn with a pencil, no source.
TURN_WITHIN = 0.1
#: mm; of an ordinary cut-off saw, and the shortest drop worth a place on the rack (common practice, no source).
KERF, KEEP = 3.0, 300.0
#: mm; a bar or a price is for a tube's section when no size differs by more: rounding of inches.
SAME_STOCK = same_within(0.05)


@dataclass(frozen=True, slots=True)
class Die:
    """One bend die.

    Attributes:
        name: unique in the shop.
        shape: name of a shape of section: what its groove takes.
        size: outside diameter; of two sizes the one across the bend.
        clr: centerline radius it bends.
        height: of two sizes the one in the plane of the bend; else equal to size.
        max_angle: greatest bend in degrees, or None when only the machine limits it.
        clamp: straight needed ahead of a bend.
        between: least straight between two bends.
        tail: least straight behind the last bend.
        mark_offset: from the start of the bend to the mark, or None when the shop has not measured it.
        invert_clamp: whether the clamp can be turned over, so that an S-bend needs no straight between.
        mandrel: whether it is bent over a mandrel.
        max_wall_factor: greatest OD/wall, or None.
        min_d_of_bend: least CLR/OD, or None.
        is_clamp_known: whether the shop says what its clamp needs; where it does not, ``clamp`` is 0.
    """

    name: str
    shape: str
    size: float
    clr: float
    height: float = 0.0
    max_angle: float | None = None
    clamp: float = 0.0
    between: float = 0.0
    tail: float = 0.0
    mark_offset: float | None = None
    invert_clamp: bool = False
    mandrel: bool = False
    max_wall_factor: float | None = None
    min_d_of_bend: float | None = None
    is_clamp_known: bool = True

    def __post_init__(self) -> None:
        if self.height == 0.0 or SHAPES[self.shape].die_sizes == 1:
            object.__setattr__(self, "height", self.size)

    def takes(self, section: Section, turned: bool = False) -> bool:
        """Whether its groove takes the section.

        Args:
            section: the tube's section.
            turned: the tube lies a quarter turn from its first bend (matters to sections of two sizes).
        """
        return section.lies_in(self.shape, self.size, self.height, SIZE_MATCH, turned)

    def unlike(self, section: Section) -> int:
        """0 when its groove has the section's kind of shape, 1 when not: sorts the likely dies first."""
        return int(SHAPES[self.shape].groove != section.kind.groove)

    @property
    def around(self) -> float | None:
        """Once around a tube that fills its groove, mm; None where its corners are not known."""
        return SHAPES[self.shape].around_groove(self.size, self.height)

    def groove(self, display: Display) -> str:
        """What it takes, in words: ``1.750 in round``, ``2.000 x 1.000 in rectangular``."""
        return f"{sizes_text(self.sizes, display)} {self.shape}"

    @property
    def sizes(self) -> tuple[float, ...]:
        """Its size, and its height where that differs, mm."""
        return (self.size,) if self.size == self.height else (self.size, self.height)


@dataclass(frozen=True, slots=True)
class Box:
    """A block that no tube may touch.

    Attributes:
        name: what a message calls it.
        low, high: opposite corners in machine coordinates, mm; every coordinate of ``low`` is the lesser.
    """

    name: str
    low: Vec
    high: Vec

    def __post_init__(self) -> None:
        if not all(isfinite(v) for v in (*self.low, *self.high)):
            raise GeometryError(
                f"the box {quoted(self.name)} has a corner that is not a finite number", code="not-finite"
            )
        if not all(a < b for a, b in zip(self.low, self.high, strict=True)):
            raise GeometryError(f"the box {quoted(self.name)} needs a low corner below its high corner in x, y and z")


@dataclass(frozen=True, slots=True)
class Machine:
    """The bender.

    Attributes:
        name: or ''.
        max_angle: greatest bend in degrees, or None.
        plane: 'vertical' or 'horizontal', the plane it bends in, or None.
        pivot_height: height of the bend's centre above the floor, or None.
        ceiling: height of the ceiling above the floor, or None.
        wall_ahead, wall_behind, wall_left, wall_right: distance from the pivot to the walls, or None.
        swings: 'ahead' when the clamped end is swung round the die (rotary draw), 'behind' when the stock is.
        bends_to: 'up', 'down', 'left' or 'right' (looking ahead), where it swings to; None for up or left.
        boxes: blocks in machine coordinates that the tube must not touch.
        max_length: longest stick it takes, or None.
        proven_section, proven_metal: the stoutest bend it is known to make, or None.
        stop_step, turn_step: step of the scale that its stop is set by, and of the ring that a tube is turned by, in
            degrees, or None where any angle can be set.
        turn_within: degrees; a turn that is told as a distance around the tube is never told further off than this.
    """

    name: str = ""
    max_angle: float | None = None
    plane: str | None = None
    pivot_height: float | None = None
    ceiling: float | None = None
    wall_ahead: float | None = None
    wall_behind: float | None = None
    max_length: float | None = None
    proven_section: Section | None = None
    proven_metal: str | None = None
    wall_left: float | None = None
    wall_right: float | None = None
    swings: str = "ahead"
    bends_to: str | None = None
    boxes: tuple[Box, ...] = ()
    stop_step: float | None = None
    turn_step: float | None = None
    turn_within: float = TURN_WITHIN


@dataclass(frozen=True, slots=True)
class Metal:
    """A metal: strengths in MPa, modulus in GPa, density in kg/m3, elongation in percent; None where not given.

    ``standard`` says where its figures come from, or ''.
    """

    name: str
    yield_mpa: float | None = None
    tensile_mpa: float | None = None
    modulus_gpa: float | None = None
    density: float | None = None
    elongation: float | None = None
    standard: str = ""


@dataclass(frozen=True, slots=True)
class Stick:
    """Stock on the rack: section, metal (or None), length, how many (None: as many as needed)."""

    section: Section
    metal: str | None
    length: float
    count: int | None = None


@dataclass(frozen=True, slots=True)
class Trial:
    """A test bend: on which die, in what metal and wall (or None), the stop set and the angle it came out at.

    ``length`` is the stick consumed by the bend in mm, or None when not recorded.
    """

    die: str
    metal: str | None
    wall: float | None
    stop: float
    angle: float
    length: float | None = None


@dataclass(frozen=True, slots=True)
class HoleSaw:
    """A hole saw the shop owns: diameter it cuts, and how deep it goes, or None when it is not said."""

    size: float
    depth: float | None = None


@dataclass(frozen=True, slots=True)
class Cutting:
    """How a shop cuts bars to length: ``[saw]`` of its file.

    Attributes:
        saw: what cutting takes of a bar, mm.
        keep: the shortest drop that goes back to the rack, mm.
        is_given: whether the shop file says how wide its saw cuts.
        mitre: how far it turns from square where mitred ends are cut back to back, degrees; 0 for a saw that does not.
    """

    saw: Saw = field(default_factory=lambda: Saw(kerf=KERF))
    keep: float = KEEP
    is_given: bool = False
    mitre: float = 0.0


@dataclass(frozen=True, slots=True)
class Rates:
    """Minutes of work and the price of an hour; None where the shop file does not say.

    Attributes:
        currency: as it stands before amounts, or ''.
        hour: price of an hour.
        tube: minutes for each tube: fetching, marking, checking.
        cut: minutes for each saw cut.
        cope: minutes for each end that is coped or mitred.
        bend: minutes for each bend.
        weld: minutes for each mm of weld.
    """

    currency: str = ""
    hour: float | None = None
    tube: float | None = None
    cut: float | None = None
    cope: float | None = None
    bend: float | None = None
    weld: float | None = None


@dataclass(frozen=True, slots=True)
class Price:
    """What metal costs.

    Attributes:
        section, metal: what it is the price of; None for any.
        per_mm: price of a mm of bar, or None.
        per_kg: price of a kg, or None; one of the two is given.
    """

    section: Section | None
    metal: str | None
    per_mm: float | None
    per_kg: float | None

    @property
    def nearness(self) -> tuple[bool, bool]:
        """The greater, the more it says of what it is the price of."""
        return self.section is not None, self.metal is not None


@dataclass(frozen=True, slots=True)
class Allowed:
    """How far a made tube may be off the drawn one: mm of a length, degrees of an angle; None where it is not said."""

    length: float | None = None
    angle: float | None = None


@dataclass(frozen=True, slots=True)
class Shop:
    """Everything a shop file says.

    Attributes:
        name: of the shop.
        dies: in the order of the file.
        machine, metals, stock, tests: what later steps use.
        source: the file as the user named it, or '' for the demo shop.
        units: the file's own unit, or None when it names none.
        hole_saws: in the order of the file.
        rates, prices: what work and metal cost, for quotations.
        cutting: how bars are cut to length.
        allowed: how far a made tube may be off.
    """

    name: str
    dies: tuple[Die, ...]
    machine: Machine = Machine()
    metals: tuple[Metal, ...] = ()
    stock: tuple[Stick, ...] = ()
    tests: tuple[Trial, ...] = ()
    source: str = ""
    units: str | None = None
    hole_saws: tuple[HoleSaw, ...] = ()
    rates: Rates = field(default_factory=Rates)
    prices: tuple[Price, ...] = ()
    cutting: Cutting = field(default_factory=Cutting)
    allowed: Allowed = field(default_factory=Allowed)

    @property
    def is_demo(self) -> bool:
        """Whether it is the invented demo shop."""
        return not self.source

    def dies_for(self, section: Section, turned: bool = False) -> tuple[Die, ...]:
        """The dies that take a section, the tightest first; see `Die.takes`."""
        return tuple(sorted((die for die in self.dies if die.takes(section, turned)), key=lambda die: die.clr))

    def die(self, name: str) -> Die:
        """The die of that name (any case).

        Raises:
            ShopError: there is none; the nearest name is given.
        """
        for die in self.dies:
            if die.name.casefold() == name.strip().casefold():
                return die
        near = get_close_matches(name, [die.name for die in self.dies], 1, 0.5)
        names = ", ".join(quoted(die.name) for die in self.dies[:8]) or "none"
        hint = f"did you mean {quoted(near[0])}?" if near else f"its dies are {names}."
        raise ShopError(f"The shop {quoted(self.name)} has no die named {quoted(name)}: {hint}", code="no-such-die")

    def greatest_angle(self, die: Die | None) -> float | None:
        """The greatest bend in degrees that a die on this machine makes, or None where nothing limits it."""
        of_die, of_machine = None if die is None else die.max_angle, self.machine.max_angle
        if of_die is None or of_machine is None:
            return of_die if of_machine is None else of_machine
        return min(of_die, of_machine)
