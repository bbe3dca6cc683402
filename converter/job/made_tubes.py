"""A tube of a job and what was made of it: which is compared with which, and what to set for the next piece."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from converter.bending.setup.setup import Setup
from converter.comparison.differences import Comparison, compare
from converter.comparison.limits import PUBLISHED, Limits, of_shop
from converter.comparison.next_piece import NextStep, intended_table, next_piece, opened_radius
from converter.errors import GeometryError, OptionError
from converter.findings import refused_bends
from converter.findings.wording import counted
from converter.geometry.vectors import within_half_turn
from converter.job.job import Job
from converter.model.bends import BendTable
from converter.model.run import Tube
from converter.names import folded
from converter.quoting import quoted
from converter.shop.model import Shop
from converter.shop.test_bends import NewTest
from converter.units import MM_PER

#: Names told where there are more.
_NAMED = 6


@dataclass(frozen=True)
class TubeComparison:
    """A made tube against the drawn one.

    Attributes:
        job: with the drawn tube.
        tube: the drawn one.
        setup: by which it was made.
        comparison: of the two.
        steps: for the next piece; none where the set-up has none, or the mirror image fits far better. None for bends
            that are not to be made as drawn.
        refused: the numbers of these.
        stops: of bends that were set otherwise than the set-up says: number of the bend -> degrees.
    """

    job: Job
    tube: Tube
    setup: Setup
    comparison: Comparison
    steps: tuple[NextStep, ...]
    stops: Mapping[int, float]
    refused: frozenset[int] = frozenset()

    def test_bends(self) -> tuple[NewTest, ...]:
        """What was learned of springback: a test bend for each bend, of its die, metal and wall."""
        bends = {difference.bend: difference for difference in self.comparison.bends}
        section, unit = self.tube.section, self.job.shop.units or "mm"
        wall = None if section is None else f"{section.wall / MM_PER[unit]:.6g}"
        return tuple(
            NewTest(
                step.die.name,
                self.tube.metal,
                wall if self.job.shop.units or wall is None else f"{wall}{unit}",
                round(self.stops.get(step.bend, step.stop_set), 4),
                round(step.target + bends[step.bend].angle, 4),
            )
            for step in self.setup.steps
            if step.die is not None and step.bend not in self.refused
        )


@dataclass(frozen=True)
class Comparisons:
    """Made tubes against those of a job, each by itself.

    Attributes:
        source: file with the drawn ones.
        tubes: those that were compared, in the order drawn.
        not_measured: names of drawn tubes that nothing was measured of.
        refused: why others could not be compared, by their names.
    """

    source: str
    tubes: tuple[TubeComparison, ...]
    not_measured: tuple[str, ...] = ()
    refused: Mapping[str, OptionError] = field(default_factory=dict)


def drawn_tube(job: Job) -> Tube:
    """The one tube that is shown.

    Raises:
        OptionError: there are several, or it is a free curve, or has a corner without a radius.
    """
    tubes = job.shown.tubes
    if len(tubes) != 1:
        raise OptionError(
            f"{job.source} has {len(tubes)} tubes ({_names(tubes)}): pick the one that was made with --run NAME."
        )
    return _bent(tubes[0], job)


def names_text(names: Sequence[str]) -> str:
    """Names of tubes, those beyond a few counted."""
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return ", ".join(map(quoted, names[:_NAMED])) + more


def _names(tubes: Sequence[Tube]) -> str:
    return names_text([tube.name for tube in tubes])


def _bent(tube: Tube, job: Job) -> Tube:
    if any(bend.clr is None for bend in tube.run.table.bends):
        raise OptionError(
            f"{quoted(tube.name)} has a sharp corner without a radius: give its die with --shop, or --clr LENGTH."
        )
    return _with_table(tube, job)


def compare_file(job: Job, made: Job, limits: Limits | None, stops: Mapping[int, float]) -> Comparisons:
    """Compare the tubes shown with those of another file: the only one of each, or those of the same name.

    Args:
        job: with the drawn tubes.
        made: the other file.
        limits: to judge by.
        stops: of bends that were set otherwise than the set-up says; then one tube is shown.

    Raises:
        OptionError: nothing can be compared.
    """
    shown = job.shown.tubes
    if len(shown) == 1 or stops:
        tube = drawn_tube(job)
        return Comparisons(job.source, (compare_tube(job, tube, measured_tube(made, tube).run.table, limits, stops),))
    answers, not_measured, refused = [], [], {}
    names = {folded(tube.name) for tube in made.tubes}
    for tube in shown:
        if folded(tube.name) not in names:
            not_measured.append(tube.name)
            continue
        try:
            table = measured_tube(made, _bent(tube, job)).run.table
            answers.append(compare_tube(job, tube, table, limits))
        except OptionError as error:
            refused[tube.name] = error
    if not answers and refused:
        raise next(iter(refused.values()))
    if not answers:
        raise OptionError(
            f"{job.source} has {len(shown)} tubes ({_names(shown)}), and {made.source} none of their names "
            f"({_names(made.tubes)}): pick the one that was made with --run NAME, or name the made ones as the drawn "
            "ones."
        )
    return Comparisons(job.source, tuple(answers), tuple(not_measured), refused)


def measured_tube(job: Job, like: Tube) -> Tube:
    """The made tube: the only one of its file, or the one named as the drawn one.

    Raises:
        OptionError: there are several and none has that name, or it is a free curve.
    """
    tubes = job.tubes
    named = [tube for tube in tubes if tube.name == like.name]
    named = named or [tube for tube in tubes if folded(tube.name) == folded(like.name)]
    if len(tubes) != 1 and len(named) > 1:
        raise OptionError(
            f"{job.source} has {len(named)} tubes named {quoted(like.name)}: leave the made one alone in its file, or "
            "give the others other names."
        )
    if len(tubes) != 1 and not named:
        raise OptionError(
            f"{job.source} has {len(tubes)} tubes ({_names(tubes)}), and none is named {quoted(like.name)} as the "
            "drawn one: leave the made one alone in its file, or name it so."
        )
    return _with_table(tubes[0] if len(tubes) == 1 else named[0], job)


def _with_table(tube: Tube, job: Job) -> Tube:
    if tube.run.is_free_curve:
        raise OptionError(f"{job.source}: {quoted(tube.name)} has a curve that is not made of straights and arcs.")
    return tube


def typed_table(
    setup: Setup,
    angles: Mapping[int, float],
    rotations: Mapping[int, float],
    straights: Mapping[int, float],
    stops: Mapping[int, float] | None = None,
) -> BendTable:
    """What was measured, put into the table that the set-up means: what was not measured is taken to be right.

    A bend that came out at another angle has the radius that the same arc then has.

    Args:
        setup: by which the tube was made.
        angles, rotations: number of the bend -> degrees.
        straights: number of the straight, 1 before bend 1 and so on, the tail last -> mm.
        stops: of bends that were set otherwise than the set-up says: number of the bend -> degrees.

    Raises:
        OptionError: there is no such bend or straight, or no tube has such values.
    """
    table = intended_table(setup)
    count = len(table.bends)
    for what, typed, most in (("bend", angles, count), ("bend", rotations, count), ("straight", straights, count + 1)):
        wrong = [number for number in typed if not 1 <= number <= most]
        if wrong:
            raise OptionError(f"There is no {what} {wrong[0]}: the tube has {most}.")
    opened = {
        step.bend: opened_radius(step, angles[step.bend], (stops or {}).get(step.bend))
        for step in setup.steps
        if angles.get(step.bend, 0.0) > 0.0
    }
    try:
        bends = tuple(
            replace(
                bend,
                feed=straights.get(i, bend.feed),
                rotation=within_half_turn(rotations.get(i, bend.rotation)),  # protractors go round to 360
                angle=angles.get(i, bend.angle),
                clr=opened.get(i, bend.clr),
            )
            for i, bend in enumerate(table.bends, 1)
        )
        return BendTable(bends, straights.get(count + 1, table.tail))
    except GeometryError as error:
        raise OptionError(f"What was typed as measured makes no tube: {error.message}.") from error


def limits_named(name: str | None, shop: Shop) -> Limits | None:
    """What to judge by: published tolerances by name, else the shop's own where its file has some.

    Raises:
        OptionError: the name is not known, or the shop file has no [tolerance].
    """
    own = of_shop(shop.allowed.length, shop.allowed.angle)
    has_own = shop.allowed.length is not None or shop.allowed.angle is not None
    if name is None:
        return own if has_own else None
    wanted = name.strip().lower()
    if wanted == "shop":
        if not has_own:
            raise OptionError(
                "The shop file has no [tolerance]: add one with a length and an angle, or name published limits."
            )
        return own
    if wanted not in PUBLISHED:
        raise OptionError(f"--tolerance takes shop, {', '.join(PUBLISHED)}, not {quoted(name)}.")
    return PUBLISHED[wanted]


def compare_tube(
    job: Job, tube: Tube, measured: BendTable, limits: Limits | None = None, stops: Mapping[int, float] | None = None
) -> TubeComparison:
    """Compare a made tube with a tube of a job.

    Args:
        job: with the drawn tube, its shop and settings.
        tube: of the job.
        measured: as made, from either end.
        limits: to judge by.
        stops: of bends that were set otherwise than the set-up says: number of the bend -> degrees.

    Raises:
        OptionError: the made tube has another number of bends, or is nothing like the drawn one.
    """
    nominal = tube.run.table
    if len(nominal.bends) != len(measured.bends):
        raise OptionError(
            f"{quoted(tube.name)} was drawn with {counted(len(nominal.bends), 'bend')} and the made tube has "
            f"{counted(len(measured.bends), 'bend')}: they are not one shape, so nothing was fitted."
        )
    setup = job.shown.setup_of[tube.name]
    try:
        found = compare(nominal, measured, tube.run.placement, limits)
    except GeometryError as error:
        raise OptionError(f"What was measured cannot be laid on {quoted(tube.name)}: {error.message}.") from error
    unlike, every = found.unlike
    if 2 * unlike > every:
        raise OptionError(
            f"The made tube is nothing like {quoted(tube.name)} as drawn ({unlike} of its {every} legs and angles are "
            "far off), so nothing was fitted: it is another tube, or was measured in another unit (a table that names "
            "none in its headings, as in 'feed_in', is read in the drawing's)."
        )
    stops = dict(stops or {})
    # a mirror image is no bend slightly off: settings that take it back would make a third shape
    steps: Sequence[NextStep] = () if found.mirrored else next_piece(found, setup, job.shop, stops)
    refused = frozenset(bend for name, bend in refused_bends(job.shown.findings) if name == tube.name)
    kept = tuple(step for step in steps if step.bend not in refused)
    return TubeComparison(job, tube, setup, found, kept, stops, refused)
