"""A job whose over-long tubes are made of pieces: the pieces stand in the frame in place of the whole."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from glob import escape
from itertools import accumulate, pairwise

from converter.bending.pieces import TubePieces, at_lengths, need_pieces, pieces_of
from converter.errors import OptionError
from converter.findings import Finding
from converter.job.job import Job, ProgramTubes
from converter.joints.model import Joint
from converter.model.run import Tube
from converter.names import fits
from converter.shop.job_file import JobFile, JointChoice
from converter.shop.model import Shop, Stick


@dataclass(frozen=True)
class JobInPieces:
    """A job and the same job with its over-long tubes in pieces.

    Attributes:
        whole: as it was drawn.
        job: with pieces in place of the tubes that were split, and their sleeves; every answer of a job can be asked.
        split: the tubes that were split, in the order drawn.
        impossible: names of tubes that cannot be made whole and that no cut makes possible.
        longest: what a piece may be, mm, where that was asked for.
    """

    whole: Job
    job: Job
    split: tuple[TubePieces, ...]
    impossible: tuple[str, ...]
    longest: float | None = None

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Of the tubes shown; without the ends at which pieces of a tube meet, which its joints tell.

        Where to cut a piece in two is told as a place along the tube that is drawn, the only one that can be named.
        """
        whole = {piece.name: pieces.tube.name for pieces in self.split for piece in pieces.pieces}
        begins: dict[str, float] = {}
        for pieces in self.split:
            lengths = [piece.run.table.developed_length for piece in pieces.pieces]
            begins |= zip((piece.name for piece in pieces.pieces), accumulate(lengths, initial=0.0), strict=False)

        def is_own(finding: Finding) -> bool:
            mate = whole.get(str(dict(finding.value_pairs).get("mate")))
            return finding.code == "joint-butt" and mate is not None and mate == whole.get(finding.tube or "")

        def along_whole(finding: Finding) -> Finding:
            values = dict(finding.value_pairs)
            own, along = str(values.get("own")), values.get("along")
            if own not in whole or not isinstance(along, float):
                return finding
            return replace(finding, values=values | {"own": whole[own], "along": along + begins[own]})

        return tuple(along_whole(finding) for finding in self.job.shown.findings if not is_own(finding))


def in_pieces(
    whole: Job, *, longest: float | None = None, at: Sequence[float] = (), bars: Sequence[Stick] | None = None
) -> JobInPieces:
    """Split the tubes shown of a job that cannot be made whole.

    Args:
        whole: the job; other tubes than those shown stay as they are.
        longest: mm, no cut length may be greater; None for what the machine and the rack take.
        at: mm from end A along the centerline of the one tube shown: where to cut it, needed or not.
        bars: that the pieces are cut from; the stock of the shop file when None.

    Raises:
        OptionError: ``at`` with several tubes, or at a place that cannot be cut.
    """
    shown = whole.shown.tubes
    if at and len(shown) != 1:
        raise OptionError(f"--at says where to cut one tube, and {len(shown)} are shown: pick it with --run NAME.")
    shop = whole.shop if bars is None else replace(whole.shop, stock=tuple(bars))
    if at:
        found: dict[str, TubePieces | None] = {tube.name: at_lengths(tube, at, whole.display) for tube in shown}
    else:
        needed = need_pieces(shown, shop, whole.end_cuts, longest)
        wanting = [tube for tube, needs_some in zip(shown, needed, strict=True) if needs_some]
        made = pieces_of(wanting, shop, whole.end_cuts, longest)
        found = {tube.name: pieces for tube, pieces in zip(wanting, made, strict=True)}
    split = {name: pieces for name, pieces in found.items() if pieces is not None}
    impossible = tuple(name for name, pieces in found.items() if pieces is None)
    job = _with_pieces(whole, split, shop)
    if split and whole.settings.coped:
        joints = {(joint.tube, joint.end): joint for joint in job.joints}
        coped = {name: _with_copes(pieces, joints) for name, pieces in split.items()}
        if coped != split:
            split, job = coped, _with_pieces(whole, coped, shop)
    return JobInPieces(whole, job, tuple(split.values()), impossible, longest)


def _with_copes(pieces: TubePieces, joints: Mapping[tuple[str, str], Joint]) -> TubePieces:
    """The pieces, no sleeve between two whose ends are both cut to tubes that pass there."""
    own = {piece.name for piece in pieces.pieces}
    meetings = []
    for (before, after), meeting in zip(pairwise(pieces.pieces), pieces.joints, strict=True):
        cuts = [cut for end in ((before.name, "B"), (after.name, "A")) if (cut := joints.get(end)) is not None]
        mates = tuple(dict.fromkeys(mate for cut in cuts for mate in cut.mates))
        coped = len(cuts) == 2 and mates and own.isdisjoint(mates)
        meetings.append(replace(meeting, kind="cope", sleeve=None, mates=mates) if coped else meeting)
    return replace(pieces, joints=tuple(meetings))


def _with_pieces(whole: Job, split: dict[str, TubePieces], shop: Shop) -> Job:
    """The job of the pieces and of all tubes that stay; the inputs stay noted, so that none is written over."""
    tubes: list[Tube] = []
    for tube in whole.tubes:
        tubes += split[tube.name].pieces if tube.name in split else [tube]
    sleeves = tuple(joint.sleeve for pieces in split.values() for joint in pieces.joints if joint.sleeve is not None)
    told = tuple(finding for finding in whole.reading_findings if finding.tube not in {tube.name for tube in tubes})
    shown = tuple(
        name
        for tube in whole.shown.tubes
        for name in ([piece.name for piece in split[tube.name].pieces] if tube.name in split else [tube.name])
    )
    settings = replace(
        whole.settings,
        unit=whole.display.unit,
        runs=tuple(map(escape, shown)) if whole.settings.runs else (),
    )
    job_file, drawing = _renamed(whole.job_file, whole.tubes, split), whole.drawing
    program = ProgramTubes(tuple(tubes), shop, job_file, told, sleeves, drawing.units, drawing.read_as)
    job = Job(whole.source, settings, program)
    job.note_files(whole.inputs)
    return job


def _renamed(job_file: JobFile | None, tubes: Sequence[Tube], split: dict[str, TubePieces]) -> JobFile | None:
    """What the job file says of ends, said of the pieces that have them now: end A of the first, end B of the last."""
    if job_file is None or not split:
        return job_file
    names = [tube.name for tube in tubes]
    choices: list[JointChoice] = []
    for choice in job_file.joints:
        mates = tuple(
            name
            for pattern in choice.cope_to
            for name in (pattern, *(p.name for n, t in split.items() if fits(pattern, n) for p in t.pieces))
        )
        for name in (name for name in names if fits(choice.tube, name)):
            pieces = split[name].pieces if name in split else None
            for end in ("A", "B") if choice.end is None else (choice.end,):
                of = name if pieces is None else pieces[0 if end == "A" else -1].name
                choices.append(replace(choice, tube=of, end=end, cope_to=mates))
    return replace(job_file, joints=tuple(choices))
