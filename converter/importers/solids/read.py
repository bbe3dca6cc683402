"""Finished tube solids back to tables: what in a body is a tube, and where, how thick and how sure.

Faces become primitives (`faces`, `primitives`), primitives pieces of straight and bend (`pieces`), pieces chains
(`chains`), chains get their ends (`ends`), their table (`table`) and their proof (`proof`). Square and rectangular tube
and bar go by the corners of their section (`rails`, `rectangles`, `square`, `bars`) and are proved by the kernel
(`walls`); what corners do not tell, cuts across a straight body do (`members`, `straight`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from converter.errors import GeometryError
from converter.findings import Clause, Finding
from converter.geometry.vectors import cross, norm, sub
from converter.kernel import require
from converter.kernel.session import kernel_failure
from converter.kernel.topology import subshapes
from converter.model.curve import Segment
from converter.model.drawing import Ignored, ReadyTable
from converter.model.section import Section
from converter.tolerances import DEFAULT, Tolerances, same_within

if TYPE_CHECKING:
    from converter.importers.solids.chains import PieceChain
    from converter.importers.solids.faces import Patch, SolidBody
    from converter.importers.solids.pieces import FacePieces, TubePiece
    from converter.importers.solids.rails import Rail


@dataclass(frozen=True, slots=True)
class _BodyJob:
    name: str
    tol: Tolerances
    take_all: bool = False


def find_tubes(
    shape: Any, name: str, tol: Tolerances = DEFAULT, *, take_all: bool = False
) -> tuple[list[ReadyTable], list[Ignored]]:
    """The tubes of one shape, and what in it is none.

    Args:
        shape: the kernel's solid, shell, face or compound of these, in place, mm.
        name: how the file calls it; goes into the tables and the sentences.
        tol: ``fit`` is how closely a surface must follow a cylinder or torus, and above which a
            deviation is told; ``join`` closes gaps between faces.
        take_all: take for stock also what looks like screws, pins, bosses and the like (`solids.stock`).

    Returns:
        One table per tube with its placement, section, proof (``deviation``) and metal ends, from
        end A as `converter.importers.solids.table` defines it; and one `Ignored` of kind 'solid' for
        each solid (or for all loose faces together) that holds no tube, with the reason.

    Raises:
        MissingLibraryError: the CAD kernel is not installed.
    """
    require()
    job = _BodyJob(name, tol, take_all)
    tables: list[ReadyTable] = []
    ignored: list[Ignored] = []
    for shapes, is_solid in _bodies(shape, tol):
        try:
            found, why = _tubes_in(shapes, is_solid, job)
        except GeometryError as error:  # of faces that no tube has, or of a size that is none's
            found, why = [], Clause.of("solid-impossible", reason=error.message)
        except Exception as error:
            found, why = [], Clause.of("solid-faces-not-evaluated", error=kernel_failure(error))
        tables += found
        if not found:
            ignored.append(Ignored("solid", 1, Clause.of("solid-no-tube", part=name, why=why)))
    return tables, ignored


def _bodies(shape: Any, tol: Tolerances) -> list[tuple[list[Any], bool]]:
    """Each solid by itself, and all loose shells and faces together (sewn where there are several)."""
    if shape is None or shape.IsNull():
        return []
    bodies: list[tuple[list[Any], bool]] = [([solid], True) for solid in subshapes(shape, "SOLID")]
    loose = list(subshapes(shape, "FACE", outside="SOLID"))
    if loose:
        bodies.append(([_sewn(loose, tol)], False))
    return bodies


def _sewn(faces: list[Any], tol: Tolerances) -> Any:
    from OCP.BRepBuilderAPI import BRepBuilderAPI_Sewing

    sewing = BRepBuilderAPI_Sewing(min(tol.join, 0.01))
    for face in faces:
        sewing.Add(face)
    sewing.Perform()
    return sewing.SewedShape()


def _tubes_in(shapes: list[Any], is_solid: bool, job: _BodyJob) -> tuple[list[ReadyTable], Clause | None]:
    """The tubes of one body, or why there is none."""
    from converter.importers.solids.bars import are_members, with_plate_doubt, without_bends
    from converter.importers.solids.chains import bridge, chains_of, nest, part_at_walls
    from converter.importers.solids.end_to_end import with_other_walls
    from converter.importers.solids.faces import faces_of
    from converter.importers.solids.fittings import segmented_elbow
    from converter.importers.solids.pieces import pieces_of
    from converter.importers.solids.reasons import is_faceted, why_none, why_not, why_open
    from converter.importers.solids.remains import with_remains
    from converter.importers.solids.stock import without_hardware
    from converter.importers.solids.straight import by_cuts, closed_solid
    from converter.importers.solids.volume import BodyVolume
    from converter.importers.solids.walls import asker

    body = faces_of(shapes, job.tol)
    found = pieces_of(body, job.tol, is_solid)
    bridge(found, body, job.tol, asker(shapes[0]) if is_solid else None)
    facing = 0
    if is_solid:
        facing = -1 if _face_out(found, shapes) else 1
    nest(found.pieces, is_solid)
    if is_solid:
        part_at_walls(found, job.tol)
    outsides = [p for p in found.pieces if p.is_round and not p.inside and (p.sign > 0 or not is_solid)]
    chains = chains_of(outsides, job.tol)
    reasons = [None if job.take_all else why_not(chain, chains, body, job.tol) for chain in chains]
    if is_solid:
        reasons = [why or why_open(chain) for why, chain in zip(reasons, chains, strict=True)]
    kept = [chain for chain, why in zip(chains, reasons, strict=True) if why is None]
    refused = [why for why in reasons if why is not None]
    taken = {patch.index for chain in kept for piece in chain.pieces for patch in _faces(piece)}
    whole = shapes[0] if is_solid else closed_solid(shapes[0])
    volume = BodyVolume(whole, body)
    squares, without_walls, corners = _square_tubes(whole, body, found, (facing, taken), job)
    bars = [] if whole is None else _bars(whole, body, corners, (kept, squares), job)
    kept = without_bends(kept, [*squares, *bars], job.tol)
    if is_solid and not job.take_all:
        framed = bool(squares) or are_members(bars)
        kept, others = without_hardware(kept, found, body, framed, lambda: volume.by_kernel)
        refused += others
    taken = {patch.index for chain in kept for piece in chain.pieces for patch in _faces(piece)}
    refused = [Clause.of("solid-not-stock", why=why) for why in refused] + without_walls
    tables = [made for chain in kept if (made := _ready(chain, body, found, is_solid, job)) is not None] + squares
    if tables or are_members(bars):
        tables += bars
    if whole is not None and len(tables) <= 1:
        tables, why = by_cuts(volume, tables, job.name, job.tol)
        refused = [why] if why is not None else refused
    if len(tables) > 1:
        tables = with_other_walls([_fused(one, len(tables), job) for one in tables], job.tol)
    tables = with_plate_doubt(tables)
    tables = with_remains(tables, shapes, taken, volume, is_solid, job.tol)
    if is_faceted(body) and any(finding.code == "solid-remains" for one in tables for finding in one.findings):
        tables, refused = [], []  # of a bent tube only the straights have faces
    if tables:
        return tables, None
    return [], segmented_elbow(outsides, job.tol) or why_none(body, refused)


def _square_tubes(
    whole: Any | None, body: SolidBody, found: FacePieces, out: tuple[int, set[int]], job: _BodyJob
) -> tuple[list[ReadyTable], list[Clause], tuple[list[Rail], int]]:
    """Square and rectangular tubes, why others are none, and the corners that are no tube's with how faces look.

    Args:
        whole: the closed solid, or None.
        out: 1 where faces look out of the metal, -1 where into it, 0 where they do not tell; faces of round tubes.
    """
    from converter.importers.solids.rails import BAR_CORNERS, rails_of
    from converter.importers.solids.square import square_tubes
    from converter.importers.solids.square_table import square_table
    from converter.importers.solids.straight import with_walls
    from converter.importers.solids.volume import signed_volume

    facing, taken = out
    if len(body.patches) - len(taken) < BAR_CORNERS:
        return [], [], ([], facing)
    rails = rails_of(body, found, job.tol)
    squares = square_tubes(rails, job.tol, facing)
    if not squares and not taken and facing >= 0 and len(rails) >= BAR_CORNERS and whole is not None:
        facing = -1 if signed_volume(whole) < 0.0 else 1
        squares = square_tubes(rails, job.tol, facing)
    rows = [(tube, made) for tube in squares if (made := square_table(body, tube, job.name, job.tol)) is not None]
    kept = [made for _, made in rows]
    why: list[Clause] = []
    if whole is not None:
        kept, why = with_walls(whole, body, kept)
    used = {number for tube, made in rows if any(made is one for one in kept) for number in tube.rails}
    return kept, why, ([rail for rail in rails if id(rail) not in used], facing)


def _bars(
    whole: Any,
    body: SolidBody,
    corners: tuple[list[Rail], int],
    others: tuple[list[PieceChain], list[ReadyTable]],
    job: _BodyJob,
) -> list[ReadyTable]:
    """Square and flat bars beside the round members and the square tubes found already."""
    from converter.importers.solids.bars import bars_in
    from converter.importers.solids.volume import signed_volume

    rails, facing = corners
    if not rails:
        return []
    sizes = [(chain.length, 2.0 * chain.radius) for chain in others[0]]
    sizes += [(made.table.developed_length, made.section.greater) for made in others[1] if made.section is not None]
    return bars_in(whole, body, rails, facing or (-1 if signed_volume(whole) < 0.0 else 1), sizes, job.name, job.tol)


def _face_out(found: FacePieces, shapes: list[Any]) -> bool:
    """Turn all signs over where the solid is inside out, and say whether it is."""
    from converter.importers.solids.pieces import overlap
    from converter.importers.solids.volume import signed_volume

    votes = 0
    lone = False
    rounds = [p for p in found.pieces if p.is_round]
    for piece in rounds:
        inner = [
            q
            for q in rounds
            if q is not piece
            and q.axis.number == piece.axis.number
            and q.radius < piece.radius
            and q.sign != piece.sign
            and overlap(piece, q) > 0.0
        ]
        outer = [
            q
            for q in rounds
            if q is not piece
            and q.axis.number == piece.axis.number
            and q.radius > piece.radius
            and q.sign != piece.sign
            and overlap(piece, q) > 0.0
        ]
        if inner and not outer:
            votes += piece.sign
        elif not inner and not outer and piece.sign < 0:
            lone = True
    inside_out = votes < 0
    if lone and not votes:
        inside_out = signed_volume(shapes[0]) < 0.0
    if inside_out:
        for piece in found.pieces:
            piece.sign = -piece.sign
    return inside_out


def _faces(piece: TubePiece) -> list[Patch]:
    return [*piece.patches, *(piece.bore.patches if piece.bore is not None else [])]


def _fused(table: ReadyTable, count: int, job: _BodyJob) -> ReadyTable:
    told = Finding("solid-fused", tube=job.name, measured=float(count), values={"count": count})
    return replace(table, findings=(*table.findings, told))


def _ready(chain: PieceChain, body: SolidBody, found: FacePieces, is_solid: bool, job: _BodyJob) -> ReadyTable | None:
    from converter.importers.solids.ends import bore_findings, end_findings, end_of
    from converter.importers.solids.proof import deviation
    from converter.importers.solids.table import NEAT, canonical, segments_of, table_of, with_doubt
    from converter.model.centerline import rebuild

    ends = None
    if not chain.closed:
        (first, first_back), (last, last_back) = chain.items[0], chain.items[-1]
        ends = (
            end_of(body, found, first, 1 if first_back else 0),
            end_of(body, found, last, 0 if last_back else 1),
        )
    made: list[Segment] = segments_of(chain, ends, job.tol)
    if not made:
        return None
    made, backward = canonical(made, chain.closed, job.tol)
    settled = table_of(made, chain.closed, job.name, job.tol)
    if settled is None:
        return None
    table, placement, told = settled
    table = with_doubt(table, chain, backward)
    section, bores = _section(chain, body, is_solid)
    astray = _astray(chain, found) if is_solid and not bores else None
    if astray is not None and section is not None:
        section = Section("round", section.od, round(section.od / 2.0 - astray[0].radius, NEAT))
    outer = chain.radius if section is None else section.od / 2.0
    inner = 0.0 if section is None else section.bore_radius
    proofs = [(piece, outer) for piece in chain.pieces] + [(bore, inner) for bore in bores]
    off = deviation(body, proofs, rebuild(table, placement))
    metal = None
    if ends is not None:
        metal = (ends[1].metal, ends[0].metal) if backward else (ends[0].metal, ends[1].metal)
    findings = (
        *told,
        *_solid_findings(chain, bores, off, section, job),
        *end_findings(ends, backward, job.name, job.tol),
    )
    if ends is not None:
        findings = (*findings, *bore_findings(body, found, chain, ends, backward, job.name, job.tol))
    if astray is not None and astray[1] > job.tol.fit:
        findings = (*findings, _off_center_finding(astray[1], job))
    return ReadyTable(job.name, table, placement, section, None, chain.closed, off, metal, None, findings)


def _section(chain: PieceChain, body: SolidBody, is_solid: bool) -> tuple[Section | None, list[TubePiece]]:
    """The section, None where the wall cannot be told; and the bore's pieces."""
    from converter.importers.solids.table import NEAT

    bores = [piece.bore for piece in chain.pieces if piece.bore is not None]
    od = round(2.0 * chain.radius, NEAT)
    if bores:
        main = max(bores, key=lambda b: (not b.axis.is_ring, b.length))
        return Section("round", od, round(chain.radius - main.radius, NEAT)), bores
    if is_solid or chain.closed or _capped(chain, body):
        return Section("bar", od, od / 2.0), []
    return None, []


def _astray(chain: PieceChain, found: FacePieces) -> tuple[TubePiece, float] | None:
    """A bore beside the centerline of a straight tube: its piece, and by how much (mm)."""
    main = max(chain.pieces, key=lambda p: (not p.axis.is_ring, p.length))
    if main.axis.is_ring:
        return None
    for piece in found.pieces:
        if piece.axis.is_ring or piece.sign > 0 or not piece.is_round or piece.length < 0.5 * main.length:
            continue
        arm = sub(piece.axis.at((piece.lo + piece.hi) / 2.0), main.axis.point)
        off = norm(cross(arm, main.axis.direction))
        parallel = norm(cross(piece.axis.direction, main.axis.direction)) < 0.01
        if parallel and off + piece.radius < main.radius:
            return piece, off
    return None


def _off_center_finding(off: float, job: _BodyJob) -> Finding:
    return Finding(
        "solid-off",
        variant="bore beside",
        tube=job.name,
        measured=off,
        limit=job.tol.fit,
        unit="mm",
        values={"off": float(off)},
    )


def _capped(chain: PieceChain, body: SolidBody) -> bool:
    """Whether surfaces without a bore are closed at their ends: every edge has a face on both sides."""
    return all(
        len(body.rims[index].faces) > 1
        for piece in chain.pieces
        for patch in piece.patches
        for index, _ in patch.rims
        if len(body.rims[index].points)
    )


def _solid_findings(
    chain: PieceChain, bores: list[TubePiece], off: float, section: Section | None, job: _BodyJob
) -> list[Finding]:
    name, fit = job.name, job.tol.fit
    most_off = same_within(fit)
    findings: list[Finding] = []
    patches = [patch for piece in chain.pieces for patch in piece.patches]
    taper = float(max((abs(p.shape.taper) for p in patches), default=0.0))
    oval = float(max((p.shape.oval for p in patches), default=0.0))
    if taper > most_off:
        findings.append(
            Finding("solid-tapered", tube=name, measured=taper, limit=fit, unit="mm", values={"taper": taper})
        )
    if oval > most_off:
        findings.append(Finding("solid-oval", tube=name, measured=oval, limit=fit, unit="mm", values={"oval": oval}))
    if off > most_off + max(taper, oval):
        sizes = [2.0 * float(piece.radius) for piece in chain.pieces]
        least, most = min(sizes), max(sizes)
        if most - least > most_off:
            why = Clause.of("solid-diameter-varies", least=least, most=most)
        else:
            why = Clause.of("solid-fit-tolerance", fit=fit)
        findings.append(
            Finding(
                "solid-off",
                variant="strays",
                tube=name,
                measured=off,
                limit=fit,
                unit="mm",
                values={"off": float(off), "why": (why,)},
            )
        )
    without = sum(1 for piece in chain.pieces if piece.bore is None)
    if bores and without:
        values = {"without": without, "pieces": len(chain.pieces)}
        findings.append(
            Finding("solid-off", variant="bore in parts", tube=name, measured=float(without), values=values)
        )
    if section is None:
        od = 2.0 * float(chain.radius)
        findings.append(Finding("solid-skin", tube=name, measured=od, unit="mm", values={"od": od}))
    return findings
