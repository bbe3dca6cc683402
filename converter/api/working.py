"""Audit, set-up and joints of what was read."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from converter.api.result import Result, Work, demo_shop_note, sorted_findings
from converter.findings import WARNING, Finding

if TYPE_CHECKING:
    from converter.bending.setup import Setup
    from converter.joints.cope import Copes


def check(result: Result) -> Result:
    """The same result with the audit's findings added."""
    from converter.audit.registry import audit
    from converter.bending.split import die_to_buy
    from converter.joints.clash import in_the_way

    # the audit repeats what was said of each tube before; `sorted_findings` keeps one of each
    findings = [*result.findings, *audit(result.tubes, result.shop, result.display)]
    findings += die_to_buy(result.tubes, result.shop, result.display)
    findings += in_the_way(result.tubes, result.job, result.tolerances, result.display)
    if result.demo_shop:
        findings.append(demo_shop_note())
    bends = sum(len(tube.run.table.bends) for tube in result.tubes)
    return replace(result, findings=sorted_findings(findings), checked=bends)


def cope(result: Result, gap: float = 0.0) -> Copes:
    """The joints of a drawing, and how long they make its tubes.

    Args:
        result: of `load` or `check`.
        gap: weld gap that the cuts leave, mm.
    """
    from converter.joints.cope import cope_frame

    return cope_frame(result.tubes, result.shop, result.job, result.tolerances, result.display, gap)


def set_up(
    result: Result, feed_from: str | None = None, copes: Copes | None = None
) -> tuple[Result, tuple[Setup, ...]]:
    """The bender's set-up of every tube, and the result with the audit's and the set-up's findings.

    Args:
        result: of `load` or `check`, read with end A first.
        feed_from: 'A', 'B', 'best' or None; see `converter.bending.setup.set_up`.
        copes: of `cope`: sticks are cut to the long points of their ends, and what is said of the joints that
            concerns a stick is among the findings. None cuts every end square where its centerline ends.

    Raises:
        OptionError: ``feed_from`` is none of these.
    """
    checked, setups = _set_up(result, feed_from, copes)
    if copes is not None:
        checked = replace(checked, findings=sorted_findings([*checked.findings, *_of_sticks(result, copes)]))
    return checked, setups


def _set_up(result: Result, feed_from: str | None, copes: Copes | None) -> tuple[Result, tuple[Setup, ...]]:
    from converter.bending.setup import SETTLED, set_up

    changes = None
    if copes is not None:
        from converter.joints.lengths import length_changes

        changes = length_changes(copes.joints)
    setups = set_up(result.tubes, result.shop, result.display, feed_from, changes)
    checked = result if result.checked is not None else check(result)
    # what the audit says of the simple order from end A is settled here for the order taken
    settled = {setup.tube.name for setup in setups if setup.steps}
    kept = [f for f in checked.findings if not (f.code in SETTLED and f.tube in settled)]
    said = [finding for setup in setups for finding in setup.findings]
    return replace(checked, findings=sorted_findings([*kept, *said])), tuple(setups)


def with_joints(result: Result, work: Work) -> Result:
    """A checked result with what the joints mean for its sticks, as the set-up says it.

    Args:
        result: of `check`, of the same drawing.
        work: of `work_out`.
    """
    coped = {setup.tube.name for setup in work.setups if setup.coped}
    # of a tube cut to fit the audit, which knows no joints, told the wrong extra
    kept = [f for f in result.findings if not (f.code == "end-too-short" and f.tube in coped)]
    ends = [f for s in work.setups if s.tube.name in coped for f in s.findings if f.code == "end-too-short"]
    return replace(result, findings=sorted_findings([*kept, *ends, *_of_sticks(result, work.copes)]))


#: what is said of joints and changes no stick: hole saws, and tubes that pass each other
_NOT_OF_STICKS = ("hole-saw-", "tube-")


def _of_sticks(result: Result, copes: Copes) -> list[Finding]:
    """What the joints mean for the sticks: all but saws and tubes that pass each other."""
    return [f for f in _of_joints(result, copes) if not f.code.startswith(_NOT_OF_STICKS)]


def _of_joints(result: Result, copes: Copes) -> list[Finding]:
    """Findings of the joints; a tube whose joints could not be looked for is cut as drawn, which is no error here."""
    alone = len(result.tubes) < 2
    return [
        replace(f, severity=WARNING) if f.code == "joint-skipped" else f
        for f in copes.findings
        if not (alone and f.code == "joint-skipped")
    ]


def work_out(result: Result, feed_from: str | None = None, gap: float = 0.0, *, coped: bool = True) -> Work:
    """Audit, copes and set-up of a drawing.

    Args:
        result: of `load` or `check`, read with end A first.
        feed_from: see `set_up`.
        gap: weld gap of the copes, mm.
        coped: cut sticks to the long points of their copes; else every end where its centerline ends.
    """
    copes = cope(result, gap)
    checked, setups = _set_up(result, feed_from, copes if coped else None)
    findings = sorted_findings([*checked.findings, *_of_joints(result, copes)])
    return Work(replace(checked, findings=findings), setups, copes)
