"""What a check is given: one tube and the dies that take it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from converter.bending.metal.capacity import ProvenBend, proven
from converter.findings import Clause, Finding
from converter.model.bends import Bend
from converter.model.run import Run, Tube, turned_by_bend
from converter.model.section import Section
from converter.model.self_approach import surely_apart
from converter.shop.assign import die_for_bend, die_of, refit_targets
from converter.shop.metals import find_metal
from converter.shop.model import Die, Metal, Shop

#: Degrees; a roll this close to a quarter turn is one (fitted planes are no better known).
QUARTER = 0.5


class DieBench:
    """What the tubes of one audit share: the dies of each section, the die of each radius, which run into themselves.

    Args:
        shop: whose dies count.
        tubes: of the audit, which are looked at together where that is quicker.
    """

    def __init__(self, shop: Shop, tubes: Sequence[Tube] = ()) -> None:
        self.shop = shop
        self._near: dict[int, Tube] | None = None
        self._tubes = tubes
        self._dies: dict[tuple[Section, bool], tuple[Die, ...]] = {}
        self._alone: dict[str, tuple[Die, ...]] = {}
        self._makers: dict[tuple[int, float | None, float], Die | None] = {}
        self._reported: set[str] = set()
        self._metals: dict[str | None, Metal | None] = {}

    @cached_property
    def proof(self) -> ProvenBend | None:
        """What the machine is proven to bend, or None where that is not known."""
        return proven(self.shop)

    def metal(self, name: str | None) -> Metal | None:
        """The metal of a name, or None where it is not known."""
        if name not in self._metals:
            self._metals[name] = find_metal(name, self.shop.metals)
        return self._metals[name]

    def first(self, code: str) -> bool:
        """Whether a finding of this code has not been asked for before: for what is told once per audit."""
        if code in self._reported:
            return False
        self._reported.add(code)
        return True

    def near_itself(self, tube: Tube) -> bool:
        """Whether parts of a tube's centerline that may meet are not surely a thickness apart."""
        if self._near is None:
            may = [one for one in self._tubes if _may_meet_itself(one)]
            clear = surely_apart([(one.run.centerline, one.section.smaller) for one in may if one.section is not None])
            self._near = {id(one): one for one, apart in zip(may, clear, strict=True) if not apart}
        return id(tube) in self._near

    def dies(self, section: Section, turned: bool = False) -> tuple[Die, ...]:
        """The dies that take a section, the tightest first."""
        key = (section, turned)
        found = self._dies.get(key)
        if found is None:
            found = self._dies[key] = self.shop.dies_for(section, turned)
        return found

    def alone(self, die: Die) -> tuple[Die, ...]:
        """The one die named for a tube of no known section."""
        return self._alone.setdefault(die.name, (die,))

    def maker(self, bend: Bend, dies: Sequence[Die]) -> Die | None:
        """The die that makes a bend for sure, or None; remembered by radius.

        ``dies`` is a tuple that this bench made and keeps, so its identity stands for it.
        """
        key = (id(dies), bend.clr, bend.clr_uncertainty)
        if key not in self._makers:
            self._makers[key] = die_for_bend(bend, dies)
        return self._makers[key]


def _may_meet_itself(tube: Tube) -> bool:
    """Whether the tube can be bent as drawn and turns far enough to come back to itself."""
    bends, run = tube.run.table.bends, tube.run
    # parts of a curve that turns by less than half a turn between them cannot meet (Fenchel's theorem)
    if tube.section is None or run.closed or len(bends) < 2 or sum(bend.angle for bend in bends) < 180.0:
        return False
    return all(bend.clr is not None for bend in bends) and min(run.table.straights) >= -1e-6


@dataclass
class Subject:
    """One tube under audit.

    Attributes:
        tube: the tube.
        bends: its rows.
        die: the die chosen for the tube, or None.
        dies: per bend, the dies that take the section as it lies in that bend, the tightest first.
        makers: per bend, the die that makes it for sure, or None.
        turned: per bend, whether a rectangle lies a quarter turn from its first bend there.
        reported: (code, bend) of what was told of it before the audit.
    """

    bench: DieBench
    tube: Tube
    bends: tuple[Bend, ...] = ()
    die: Die | None = None
    dies: list[tuple[Die, ...]] = field(default_factory=list)
    makers: list[Die | None] = field(default_factory=list)
    turned: list[bool] = field(default_factory=list)
    reported: set[tuple[str, int | None]] = field(default_factory=set)

    @classmethod
    def of(cls, bench: DieBench, tube: Tube) -> Subject:
        """The subject for a tube: looks its dies up."""
        bends = tube.run.table.bends
        one = cls(bench, tube, bends)
        if tube.die is not None:
            one.die = bench.shop.die(tube.die)
        one.turned = turned_by_bend(tube.section, bends)
        if tube.section is not None:
            upright = bench.dies(tube.section)
            one.dies = [bench.dies(tube.section, True) if lies else upright for lies in one.turned]
        elif one.die is not None:
            one.dies = [bench.alone(one.die)] * len(bends)
        else:
            one.dies = [()] * len(bends)
        one.makers = [bench.maker(bend, dies) for bend, dies in zip(bends, one.dies, strict=True)]
        one.reported = {(f.code, f.bend) for f in (*tube.run.findings, *tube.findings)}
        return one

    @property
    def name(self) -> str:
        """Name of the tube."""
        return self.tube.run.name

    @property
    def section_words(self) -> Section | Clause:
        """The section for a sentence; 'this tube' where it is not known."""
        return self.tube.section or Clause.of("unknown-section")

    def die_at(self, index: int) -> Die | None:
        """The die a bend is made on, as in the set-up; None where there is none for the section as it lies there."""
        return self.makers[index] or die_of(self.bends[index], self.dies[index], self.die)

    @cached_property
    def _refitted(self) -> tuple[Run, float]:
        """The tube with its bends on the radii of their dies, and by how much that moves its centerline, mm."""
        from converter.reducer.refit import refit

        run, most = self.tube.run, 0.0
        for clr, which in refit_targets(self.bends, self.dies, self.die).items():
            run, moved = refit(run, clr, which)
            most = max(most, moved)
        return run, most

    @property
    def refit_moves(self) -> float:
        """By how much a refit would move the centerline, mm."""
        return self._refitted[1]

    @cached_property
    def refit_cure(self) -> tuple[str, dict[str, object]]:
        """Which cure tells what a refit would do with the tube, and its values."""
        from converter.reducer.refit import keeps_shape

        run, most = self._refitted
        if not keeps_shape(self.tube.run, most):
            return "refit moves far", {}
        straights = run.table.straights
        least = min(straights)
        if least >= -1e-6:
            return "refit", {"moved": most}
        at = straights.index(least)
        where = Clause.of("at-end-B") if at == len(straights) - 1 else Clause.of("before-bend", bend=at + 1)
        return "refit overlaps", {"lacking": -least, "where": where}

    def finding(
        self,
        code: str,
        index: int | None = None,
        values: Mapping[str, object] | None = None,
        *,
        variant: str = "",
        end: str | None = None,
        measured: float | None = None,
        limit: float | None = None,
        unit: str | None = "mm",
        cure: str = "",
        severity: str = "",
    ) -> Finding:
        """A finding about this tube, placed at the bend of that index (from 0) when given; ``values`` for its words."""
        run = self.tube.run
        bend = None if index is None else self.bends[index]
        handle = (bend and bend.handle) or (run.handles[0] if run.handles else None)
        return Finding(
            code,
            variant=variant,
            severity=severity,
            tube=run.name,
            bend=None if index is None else index + 1,
            end=end,
            values=values or {},
            measured=measured,
            limit=limit,
            unit=unit if measured is not None else None,
            layer=(bend and bend.layer) or run.layer,
            handle=handle,
            cure=cure,
        )
