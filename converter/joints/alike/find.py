"""Finding the parts of a job."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache
from math import floor

from converter.findings import Finding
from converter.joints.alike.form import Form, Look
from converter.joints.alike.same import same_metal, same_section, same_table
from converter.joints.cope import Copes
from converter.joints.holes import Hole
from converter.joints.model import Joint
from converter.model.part import Part, part_names
from converter.model.run import Tube

#: Ways to look at a tube that is moved only, and at one that is mirrored; the plainest first.
_MOVED = (Look(), Look(turned=True))
_MIRRORED = (Look(mirrored=True), Look(turned=True, mirrored=True))
#: mm between the drawers that tubes are looked for in, by developed length.
_DRAWER = 1.0


@dataclass(slots=True)
class _Group:
    """A part on its way: the tube that stands for it, the others, which of them are turned; what it mirrors (from
    the other end or not), what mirrors it."""

    leader: int
    tubes: list[int]
    turned: set[int] = field(default_factory=set)
    mirrors: tuple[_Group, bool] | None = None
    mirrored_by: _Group | None = None


def find_parts(
    tubes: Sequence[Tube],
    copes: Callable[[], Copes],
    alone: Callable[[], Sequence[bool]] | None = None,
    dies: Callable[[Tube], Sequence[str]] | None = None,
) -> tuple[Part, ...]:
    """The parts of a job, in the order of their first tubes.

    Every tube of a part equals its first one within the limits of `same`, so that no chain of small differences
    drifts away; a tube that equals several goes to the first. Tubes of which a hole is needed but not worked out
    are parts of their own.

    Args:
        tubes: of the whole job.
        copes: how their ends are cut; asked only where bend tables agree.
        alone: of each tube whether no other lies near it (`converter.joints.near.alone`) and nothing else says how it
            is cut: what such a tube is cut to is itself at most, and its bend table tells that. None where any may be
            cut to another.
        dies: names of those that the bends of a tube are made on; None for its own alone.
    """

    @cache
    def forms() -> list[Form]:
        return forms_of(tubes, copes())

    @cache
    def lone() -> Sequence[bool]:
        return alone() if alone is not None else [False] * len(tubes)

    plain = [Form(tube) for tube in tubes]
    drawers: dict[tuple[object, ...], list[_Group]] = {}
    groups: list[_Group] = []
    for index, tube in enumerate(tubes):
        kind, drawer = _kind(tube, dies), floor(tube.run.table.developed_length / _DRAWER)
        near = [group for step in (-1, 0, 1) for group in drawers.get((*kind, drawer + step), ())]
        near = sorted((g for g in near if same_section(tubes[g.leader].section, tube.section)), key=lambda g: g.leader)

        def look_at(group: _Group, looks: Sequence[Look], index: int = index) -> Look | None:
            able = [look for look in looks if same_table(plain[group.leader], plain[index], look)]
            if not able:
                return None
            known = plain if lone()[group.leader] and lone()[index] else forms()
            return next((look for look in able if same_metal(known[group.leader], known[index], look)), None)

        equal = next(((group, look) for group in near if (look := look_at(group, _MOVED))), None)
        if equal is not None:
            equal[0].tubes.append(index)
            if equal[1].turned:
                equal[0].turned.add(index)
            continue
        made = _Group(index, [index])
        mirror = next(
            (
                (g, look)
                for g in near
                if g.mirrors is None and g.mirrored_by is None and (look := look_at(g, _MIRRORED))
            ),
            None,
        )
        if mirror is not None:
            mirror[0].mirrored_by = made
            made.mirrors = (mirror[0], mirror[1].turned)
        groups.append(made)
        drawers.setdefault((*kind, drawer), []).append(made)
    return _parts(tubes, groups)


def _parts(tubes: Sequence[Tube], groups: Sequence[_Group]) -> tuple[Part, ...]:
    names = part_names([tube.name for tube in tubes], [group.tubes for group in groups])
    name_of = {group.leader: name for group, name in zip(groups, names, strict=True)}
    return tuple(
        Part(
            name=name_of[group.leader],
            tubes=tuple(tubes[index] for index in group.tubes),
            quantity=len(group.tubes),
            turned=frozenset(tubes[index].name for index in group.turned),
            mirror_of=None if group.mirrors is None else name_of[group.mirrors[0].leader],
            mirrored_by=None if group.mirrored_by is None else name_of[group.mirrored_by.leader],
            mirror_turned=group.mirrors is not None and group.mirrors[1],
        )
        for group in groups
    )


def _kind(tube: Tube, dies: Callable[[Tube], Sequence[str]] | None) -> tuple[object, ...]:
    """What equal tubes share to the letter."""
    table = tube.run.table
    sharp = sum(bend.clr is None for bend in table.bends)
    shape = None if tube.section is None else tube.section.shape
    # a tube's own die is that of its first bend where a rectangle lies two ways, and from end B another
    made_on = tube.die if dies is None else tuple(sorted(dies(tube)))
    return shape, tube.metal, made_on, tube.run.closed, len(table.bends), sharp


def forms_of(tubes: Sequence[Tube], copes: Copes) -> list[Form]:
    """The forms of all tubes of a job, with their cuts and holes."""
    joints: dict[str, list[Joint]] = {}
    holes: dict[str, list[Hole]] = {}
    for joint in copes.joints:
        joints.setdefault(joint.tube, []).append(joint)
    for hole in copes.holes:
        holes.setdefault(hole.tube, []).append(hole)
    cut = {(joint.tube, joint.end) for joint in copes.joints}
    made = {(hole.tube, hole.through) for hole in copes.holes}
    doubts: dict[str, list[str]] = {}
    for finding in copes.findings:
        if finding.tube is not None and finding.end is not None and (finding.tube, finding.end) not in cut:
            doubts.setdefault(finding.tube, ["", ""])["AB".index(finding.end)] += f"{finding.code} {finding.variant} "
    for finding in copes.in_the_way:
        if _is_unmade(finding, made):
            doubts[finding.tube or ""] = [f"a hole in {finding.tube}"] * 2
    return [
        Form(
            tube,
            joints.get(tube.name, ()),
            holes.get(tube.name, ()),
            tuple(doubts.get(tube.name, ("", ""))),  # type: ignore[arg-type]
        )
        for tube in tubes
    ]


def _is_unmade(finding: Finding, made: set[tuple[str, str]]) -> bool:
    """Whether a finding tells of a hole that was not worked out."""
    return finding.code == "tube-through" and (finding.tube or "", str(dict(finding.value_pairs)["inner"])) not in made
