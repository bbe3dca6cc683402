"""What of a job is shown and written: all its tubes, or those that a person picked; what is true of them stays."""

from __future__ import annotations

from collections.abc import Container, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from converter.errors import OptionError
from converter.findings import ERROR, Clause, Finding, refused_bends
from converter.model.run import Tube
from converter.names import fits
from converter.quoting import quoted, shortened

if TYPE_CHECKING:
    from converter.bending.setup.setup import Setup
    from converter.job.job import Job
    from converter.joints.cope import TubeLength
    from converter.joints.holes import Hole
    from converter.joints.model import Joint
    from converter.model.metal import NoMetalError, TubeMetal
    from converter.model.part import Part

#: Names listed where a pattern meets none.
_MOST_NAMES = 20
#: Names told of many pieces; more are counted.
_NAMED = 6


@dataclass(frozen=True, eq=False)
class Shown:
    """The part of a job that is shown. Joints, dies and clashes are those of the whole job.

    Attributes:
        job: the job.
        patterns: of names or layers (`converter.names`); none for all tubes.
        anywhere: whether a pattern may meet no tube.
    """

    job: Job
    patterns: tuple[str, ...] = ()
    anywhere: bool = False

    @cached_property
    def indices(self) -> tuple[int, ...]:
        """Which of the job's tubes, counted from 0.

        Raises:
            OptionError: a pattern meets no tube.
        """
        tubes = self.job.tubes
        if not self.patterns:
            return tuple(range(len(tubes)))
        met: set[int] = set()
        for pattern in self.patterns:
            found = {i for i, tube in enumerate(tubes) if fits(pattern, tube.name, tube.run.layer)}
            if not found and not self.anywhere:
                raise self.no_such(pattern)
            met |= found
        return tuple(sorted(met))

    def meets(self, pattern: str) -> bool:
        """Whether a tube of the job has a name or layer like a pattern."""
        return any(fits(pattern, tube.name, tube.run.layer) for tube in self.job.tubes)

    def no_such(self, pattern: str) -> OptionError:
        """What is said of a pattern that meets no tube."""
        names = [tube.name for tube in self.job.tubes]
        more = f" and {len(names) - _MOST_NAMES} more" if len(names) > _MOST_NAMES else ""
        return OptionError(
            f"No tube of {self.job.source} has a name or a layer like {quoted(pattern)}: there are "
            f"{', '.join(map(shortened, names[:_MOST_NAMES]))}{more}.",
            code="no-such-run",
            file=self.job.source,
        )

    @cached_property
    def names(self) -> frozenset[str]:
        """Names of the tubes shown."""
        return frozenset(tube.name for tube in self.tubes)

    @cached_property
    def tubes(self) -> tuple[Tube, ...]:
        """The tubes shown, in the order drawn."""
        return tuple(self.job.tubes[i] for i in self.indices)

    @cached_property
    def parts(self) -> tuple[Part, ...]:
        """Their parts, in the order of the first tube shown of each; how many there are in all stays."""
        found = [part for each in self.job.parts if (part := each.only(self.names)) is not None]
        order = {tube.name: i for i, tube in enumerate(self.tubes)}
        return tuple(sorted(found, key=lambda part: order[part.first.name]))

    @cached_property
    def first_setups(self) -> tuple[tuple[Part, Setup], ...]:
        """Every part shown with the set-up of its first tube, which stands for all."""
        return tuple((part, self.setup_of[part.first.name]) for part in self.parts)

    @cached_property
    def setup_of(self) -> dict[str, Setup]:
        """Their set-ups by name."""
        return {tube.name: setup for tube, setup in zip(self.tubes, self.setups, strict=True)}

    @property
    def setups(self) -> tuple[Setup, ...]:
        """Their set-ups, in the same order."""
        return tuple(self.job.setups[i] for i in self.indices)

    @property
    def bodies(self) -> tuple[TubeMetal | NoMetalError | None, ...]:
        """Their bodies, in the same order; see `Job.bodies`."""
        return tuple(self.job.bodies[i] for i in self.indices)

    @property
    def joints(self) -> tuple[Joint, ...]:
        """Their cut ends."""
        return tuple(joint for joint in self.job.joints if joint.tube in self.names)

    @property
    def lengths(self) -> tuple[TubeLength, ...]:
        """How long their cuts make them."""
        return tuple(length for length in self.job.copes.lengths if length.name in self.names)

    @property
    def holes(self) -> tuple[Hole, ...]:
        """The holes they need."""
        return tuple(hole for hole in self.job.copes.holes if hole.tube in self.names)

    @property
    def bend_count(self) -> int:
        """Bends of the tubes shown."""
        return sum(len(tube.run.table.bends) for tube in self.tubes)

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """Of the verdict, what speaks of a tube shown, or of none by name; not of dies that only others are bent on."""
        found = self._of_these(self.job.findings)
        if not self.patterns:
            return found
        own = {finding for setup in self.setups for finding in setup.findings}
        theirs = {finding for setup in self.job.setups for finding in setup.findings if finding.tube is None} - own
        return tuple(finding for finding in found if finding not in theirs)

    @property
    def reading_findings(self) -> tuple[Finding, ...]:
        """Of what reading told, the part that speaks of a tube shown, or of none by name."""
        return self._of_these(self.job.reading_findings)

    @property
    def joint_findings(self) -> tuple[Finding, ...]:
        """Of what reading and joints told, the part that speaks of a tube shown, or of none by name."""
        return self._of_these(self.job.joint_findings)

    def refusal(self, part: Part) -> frozenset[int] | None:
        """The bends that an error names of a part that is not to be made as drawn; None where no error names it.

        They may be none: the error then names the tube as a whole.
        """
        return self.refused_bends(part) if self.is_refused(part) else None

    def refused_bends(self, part: Part) -> frozenset[int]:
        """Bends of a part that an error names, numbered as on its first tube: they are not to be made as drawn."""
        return frozenset(part.bend_of(tube, bend) for tube, bend in self._refused_bends if tube in part.names)

    def is_refused(self, part: Part) -> bool:
        """Whether an error names one of its tubes: it is not to be made as drawn."""
        return not self._refused_tubes.isdisjoint(part.names)

    @cached_property
    def _refused_bends(self) -> frozenset[tuple[str, int]]:
        return refused_bends(self.findings)

    @cached_property
    def _refused_tubes(self) -> frozenset[str]:
        return frozenset(finding.tube for finding in self.findings if finding.severity == ERROR and finding.tube)

    @property
    def others_with_errors(self) -> int:
        """How many tubes that are not shown have an error."""
        return len({f.tube for f in self.job.findings if f.severity == ERROR and f.tube} - self.names)

    def _of_these(self, findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
        if not self.patterns:
            return findings
        every = {tube.name for tube in self.job.tubes} - self.names
        return tuple(
            finding
            for finding in findings
            if finding.tube is None or finding.tube not in every or self.names & set(finding.others)
        )


def refusals(jobs: Sequence[Job], own: Container[tuple[str, str]] = ()) -> list[Finding]:
    """What keeps the parts shown of jobs from being made as drawn, for a list that counts them all the same.

    Args:
        jobs: whose parts.
        own: (code, variant) of what the list judges itself.
    """
    names, gone, told = list[str](), list[str](), list[Finding]()
    for job in jobs:
        errors = [one for one in job.shown.findings if one.severity == ERROR and (one.code, one.variant) not in own]
        told += [finding for finding in errors if finding.tube is None]
        refused = {finding.tube for finding in errors}
        for part, setup in job.shown.first_setups:
            if not refused.isdisjoint(part.names):
                (gone if setup.is_nothing else names).append(name_among(jobs, job, part))
    both = (("", names), ("nothing left", gone))
    return [*(Finding("part-refused", variant=how, values=some_named(some)) for how, some in both if some), *told]


def name_among(jobs: Sequence[Job], job: Job, part: Part) -> str:
    """The name of a job's part, behind that of the drawing where there are several."""
    return f"{job.stem}: {part.name}" if len(jobs) > 1 else part.name


def some_named(names: Sequence[str]) -> dict[str, object]:
    """Some names and a count of the rest, as a finding's values."""
    further = len(names) - _NAMED
    more = Clause.of("and-more-pieces", count=further) if further > 0 else ""
    return {"names": tuple(names[:_NAMED]), "more": more, "count": len(names)}
