"""The numbers of a stick template: marks and tangent points along the stick, backs of bends and cuts around it.

Along the stick: distance in mm from end A as finished (trimmed), which is the long point of the cope there, or
the centerline's end. Around it: the *clock* in degrees from the zero line, right-hand positive about the direction
from end A to end B. The zero line is the outside (the back) of bend 1, so that the outside of a bend lies at the
sum of the rotations up to it, and its inside half a turn further. A straight has the zero line of its cope templates
when it is round, else the middle of the side at its height direction.
"""

from __future__ import annotations

from collections.abc import Iterable, Set
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from converter.arrays import Array
from converter.exporters.paper.wraps import Around, wrap
from converter.geometry.vectors import within_turn
from converter.joints.model import Joint
from converter.model.end_cuts import EndCuts
from converter.model.run import Run
from converter.model.section import Section

if TYPE_CHECKING:
    from converter.bending.setup.setup import Setup, Step
    from converter.job import Job
    from converter.model.part import Part

#: How high the strip of a tube without a known section is drawn, mm.
_NO_SECTION = 40.0


@dataclass(frozen=True, slots=True)
class StickBend:
    """One bend on the stick.

    Attributes:
        number: 1, 2, ... from end A.
        begin, end: its tangent points, mm from end A.
        rotation: degrees since the bend before.
        clock: degrees from the zero line to the bend's outside, in [0, 360).
        angle: degrees.
        clr: mm, or None for a sharp corner.
        step: how the set-up makes it, or None without a set-up.
        mark: what is brought to the die's mark line, mm from end A; None without a die, and where an error names it.
        order: 1, 2, ... in the order made; 0 without a set-up.
        is_refused: whether an error names it: it is not to be made as drawn.
    """

    number: int
    begin: float
    end: float
    rotation: float
    clock: float
    angle: float
    clr: float | None
    step: Step | None = None
    mark: float | None = None
    order: int = 0
    is_refused: bool = False


@dataclass(frozen=True)
class StickCope:
    """The cut of an end on the stick.

    Attributes:
        joint: the end that is cut to fit.
        clocks: (n,) degrees around the stick, ascending from 0 to 360.
        along: (n,) where the outside's metal ends there, mm from end A.
    """

    joint: Joint
    clocks: Array
    along: Array

    @property
    def end(self) -> str:
        """'A' or 'B'."""
        return self.joint.end


@dataclass(frozen=True, slots=True)
class Strip:
    """The paper once around a section: y is its height above the lower edge, mm; the zero line is either edge.

    Attributes:
        around: None where no section is known.
    """

    around: Around | None

    @classmethod
    def of(cls, section: Section | None, paper_thickness: float) -> Strip:
        """The strip for a section, on paper of a thickness in mm."""
        # half a turn maps every outline on itself: the outside of bend 1 lies as the height direction does
        return cls(None if section is None else Around(section.outer, paper_thickness, 0.0))

    @property
    def height(self) -> float:
        """Once around, mm; without a section a height that means nothing."""
        return _NO_SECTION if self.around is None else self.around.total

    def y(self, clock: float) -> float:
        """Height of the line at a clock; that of the upper edge for 0."""
        return float(self.ys(np.array([within_turn(clock)]))[0])

    def ys(self, clocks: Array) -> Array:
        """Heights of lines at clocks from 0 to 360."""
        if self.around is None:
            raise ValueError("a strip without a section has no clock")
        return self.height - self.around.position(clocks)


@dataclass(frozen=True)
class StickTemplate:
    """A stick as its template shows it, in mm.

    Attributes:
        bends: from end A.
        length: from finished end to finished end.
        extra_a, extra_b: what is left at the ends for the clamp or the pressure die, and trimmed after bending.
        cuts: of the finished ends.
        feed_from: the end fed first, from which distances are told.
        copes: the cuts of these ends.
        can_be_held: whether every bend can be.
        refusal: numbers of the bends that an error names; None where no error names the tube.
    """

    bends: tuple[StickBend, ...]
    length: float
    extra_a: float = 0.0
    extra_b: float = 0.0
    cuts: EndCuts = field(default_factory=EndCuts)
    feed_from: str = "A"
    copes: tuple[StickCope, ...] = ()
    can_be_held: bool = True
    refusal: Set[int] | None = None

    @classmethod
    def of(
        cls,
        setup: Setup,
        joints: Iterable[Joint] = (),
        refusal: Set[int] | None = None,
    ) -> StickTemplate:
        """The stick of a set-up: the same length, marks, bends and extra as at the bender.

        Args:
            setup: of the tube.
            joints: cut ends, of any tubes; those that the set-up counts are drawn.
            refusal: numbers of the bends that an error names; None where no error names the tube, which is then to be
                made as drawn.
        """
        stick = cls(
            _placed_bends(setup, refusal or frozenset()),
            setup.length + setup.cuts.change("A") + setup.cuts.change("B"),
            setup.extra_a,
            setup.extra_b,
            setup.cuts,
            setup.feed_from,
            (),
            not setup.plan.lacks,
            refusal,
        )
        own = [joint for joint in joints if joint.tube == setup.tube.name and joint.end in setup.cuts.by_end]
        return replace(stick, copes=tuple(stick_cope(stick, joint) for joint in own))

    @classmethod
    def of_part(cls, job: Job, part: Part, setup: Setup) -> StickTemplate:
        """The stick of a part shown, with its cuts and what the job's verdict refuses of it."""
        shown = job.shown
        joints = job.joints if setup.cuts.by_end else ()
        return cls.of(setup, joints, shown.refusal(part))

    @property
    def is_refused(self) -> bool:
        """Whether an error names it: it is not to be made as drawn."""
        return self.refusal is not None

    @property
    def set_up(self) -> bool:
        """Whether bends lie where the bender makes them, springback and stretch counted, and not as drawn."""
        return any(bend.step is not None for bend in self.bends)

    @property
    def stick_length(self) -> float:
        """Of the stick as cut, mm."""
        return self.extra_a + self.length + self.extra_b

    @property
    def ends(self) -> tuple[float, float]:
        """Where the stick as cut ends, mm from end A as finished."""
        return -self.extra_a, self.length + self.extra_b

    def from_fed_end(self, along: float) -> float:
        """A place from the end fed first, along the stick as cut, mm: as `setup` tells marks."""
        return along - self.ends[0] if self.feed_from == "A" else self.ends[1] - along


def stick_bends(run: Run) -> list[StickBend]:
    """The bends of a run along and around the stick, as drawn."""
    bends = []
    at = clock = 0.0
    for number, bend in enumerate(run.table.bends, start=1):
        begin = at + bend.feed
        at = begin + bend.arc_length
        clock = within_turn(clock + bend.rotation) if number > 1 else 0.0
        bends.append(StickBend(number, begin, at, bend.rotation, _whole(clock), bend.angle, bend.clr))
    return bends


def _placed_bends(setup: Setup, refused: Set[int]) -> tuple[StickBend, ...]:
    """The bends where the set-up makes them; as drawn without one."""
    bends = stick_bends(setup.tube.run)
    change = setup.cuts.change("A")
    placed = [replace(one, begin=one.begin + change, end=one.end + change) for one in bends]

    def from_a(along: float) -> float:
        """A place from the end fed first as cut, from end A as finished."""
        return (along if setup.feed_from == "A" else setup.stick_length - along) - setup.extra_a

    for order, step in enumerate(setup.steps, 1):
        # the arc begins where it is bent from, and for end B fed first that is its far side
        begin = from_a(step.start + (0.0 if setup.feed_from == "A" else step.stick))
        is_refused = step.bend in refused
        mark = None if step.die is None or is_refused else from_a(step.mark)
        placed[step.bend - 1] = replace(
            bends[step.bend - 1], begin=begin, end=begin + step.stick, step=step, mark=mark, order=order,
            is_refused=is_refused,
        )  # fmt: skip
    return tuple(placed)


def stick_cope(stick: StickTemplate, joint: Joint) -> StickCope:
    """The cut of an end, clocked to the first or last bend: its zero line is the outside of the nearest one.

    An end's angles count about the direction that points out of it, which at end A is against the clock.
    """
    zero = zero_clock(stick, joint)
    sense = 1.0 if joint.end == "B" else -1.0
    # the seam of the strip gets a point of its own
    phi = np.union1d(wrap(joint, 0.0).phi, np.array([(sense * -zero) % 360.0]))
    lengths = joint.cut.outside(phi)
    along = stick.length - stick.cuts.change("B") - lengths if joint.end == "B" else stick.cuts.change("A") + lengths
    clocks = (zero + sense * phi) % 360.0
    clocks = np.where((clocks < 1e-9) | (clocks > 360.0 - 1e-9), 0.0, clocks)
    clocks, first = np.unique(clocks, return_index=True)
    along = along[first]
    return StickCope(joint, np.append(clocks, 360.0), np.append(along, along[0]))


def zero_clock(stick: StickTemplate, joint: Joint) -> float:
    """Clock of the zero line of an end's own template, degrees."""
    if stick.bends:
        return 0.0 if joint.end == "A" else stick.bends[-1].clock
    if joint.section.outer.radius is not None:
        return 0.0
    turn = float(np.degrees(joint.cut.branch.turn_rad))
    return within_turn(turn if joint.end == "B" else -turn)


def _whole(clock: float) -> float:
    """Rounding must not leave 359.9999999999 where 0 is meant."""
    return 0.0 if clock < 1e-9 or clock > 360.0 - 1e-9 else clock
