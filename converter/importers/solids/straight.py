"""Square and rectangular members, proven: by their walls, by their metal, and by cuts across the whole body."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from converter.findings import Clause
from converter.importers.body_checks import BAR_WIDTHS
from converter.importers.solids.faces import SolidBody
from converter.importers.solids.members import as_square, member_of, name_of
from converter.importers.solids.profiles import BAR, CHAMBERS, OTHER, TUBE
from converter.importers.solids.square import is_cut_deep
from converter.importers.solids.square_table import square_table
from converter.importers.solids.volume import BodyVolume
from converter.importers.solids.walls import (
    MOST_MORE,
    is_too_little,
    prove_walls,
    volume_findings,
    why_box,
    why_no_walls,
)
from converter.kernel.topology import subshapes
from converter.model.drawing import ReadyTable
from converter.tolerances import Tolerances


def closed_solid(shape: Any) -> Any | None:
    """The solid that loose faces enclose once they are sewn to one shell without a gap; None where they do not."""
    from OCP.BRep import BRep_Tool
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeSolid
    from OCP.TopoDS import TopoDS

    shells = [TopoDS.Shell_s(shell) for shell in subshapes(shape, "SHELL")]
    if len(shells) != 1 or not BRep_Tool.IsClosed_s(shells[0]):
        return None
    made = BRepBuilderAPI_MakeSolid(shells[0])
    return made.Solid() if made.IsDone() else None


def with_walls(solid: Any, body: SolidBody, tables: list[ReadyTable]) -> tuple[list[ReadyTable], list[Clause]]:
    """The square and rectangular tubes that have their four walls, and why the others are none."""
    kept, refused = [], []
    for one in tables:
        why = _why_no_member(solid, one, len(tables) * len(body.patches))
        if why is None:
            kept.append(one)
        else:
            refused.append(why)
    return kept, refused


def _why_no_member(solid: Any, made: ReadyTable, work: int) -> Clause | None:
    """Why a square or rectangular member is none; None when metal is in all of its walls."""
    proof = prove_walls(solid, made, work)
    why = None if proof is None else why_no_walls(proof)
    return why or (why_box(solid, made) if made.section is not None and made.section.bore is not None else None)


def by_cuts(
    volume: BodyVolume, tables: list[ReadyTable], name: str, tol: Tolerances
) -> tuple[list[ReadyTable], Clause | None]:
    """The tables of a body once cuts across it were asked, where one tube or none was found in it.

    Args:
        volume: of the solid.
        tables: none, or the only one.

    Returns:
        The tables; or none, and what the body is instead (None where cuts do not tell).
    """
    solid, body = volume.solid, volume.body
    if tables:
        (only,) = tables
        if only.section is None:
            return tables, None
        told = volume.tells(lambda volume: volume_findings(volume, only))
        if only.section.cylinder is not None:
            # what is more is told with what else is in its body
            less = [finding for finding in told if finding.variant == "less"]
            return [replace(only, findings=(*only.findings, *less))], None
        if not told:
            return tables, None
        # more or less metal than claimed: is it what it seems?
        member = member_of(solid, body, tol) if not only.table.bends else None
        if member is not None and member.profile.kind not in (TUBE, BAR):
            return [], name_of(member, volume.by_kernel)
        if is_too_little(volume.by_kernel, only):
            return [], Clause.of("solid-too-little-metal")
        return [replace(only, findings=(*only.findings, *told))], None
    member = member_of(solid, body, tol)
    if member is None:
        return [], None
    if member.profile.kind not in (TUBE, BAR):
        is_named = member.profile.kind not in (OTHER, CHAMBERS)
        if not is_named and member.length < BAR_WIDTHS * max(member.profile.sizes):
            return [], None
        return [], name_of(member, volume.by_kernel)
    square = as_square(member, body, tol)
    if is_cut_deep(square):
        return [], name_of(replace(member, profile=replace(member.profile, kind=OTHER)), volume.by_kernel)
    made = square_table(body, square, name, tol)
    if made is None:
        return [], None
    why = _why_no_member(solid, made, len(body.patches))
    if why is None and is_too_little(volume.by_kernel, made):
        why = Clause.of("solid-too-little-metal")
    told = volume_findings(volume.by_kernel, made)
    if why is None and any((finding.measured or 0.0) > MOST_MORE for finding in told):
        return [], None
    if why is not None:
        return [], why
    return [replace(made, findings=(*made.findings, *told))], None
