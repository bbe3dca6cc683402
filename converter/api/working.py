"""Audit, set-up and joints of what was read."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from converter.api.result import Result, Work, demo_shop_note, sorted_findings

if TYPE_CHECKING:
    from converter.bending.setup import Setup


def check(result: Result) -> Result:
    """The same result with the audit's findings added."""
    from converter.audit.registry import audit
    from converter.bending.split import die_to_buy

    # the audit repeats what was said of each tube before; `sorted_findings` keeps one of each
    findings = [*result.findings, *audit(result.tubes, result.shop, result.display)]
    findings += die_to_buy(result.tubes, result.shop, result.display)
    if result.demo_shop:
        findings.append(demo_shop_note())
    bends = sum(len(tube.run.table.bends) for tube in result.tubes)
    return replace(result, findings=sorted_findings(findings), checked=bends)


def set_up(result: Result, feed_from: str | None = None) -> tuple[Result, tuple[Setup, ...]]:
    """The bender's set-up of every tube, and the result with the audit's and the set-up's findings.

    Args:
        result: of `load`, not of `check`, read with end A first.
        feed_from: 'A', 'B', 'best' or None; see `converter.bending.setup.set_up`.

    Raises:
        OptionError: ``feed_from`` is none of these.
    """
    from converter.bending.setup import SETTLED, set_up

    setups = set_up(result.tubes, result.shop, result.display, feed_from)
    checked = check(result)
    # what the audit says of the simple order from end A is settled here for the order taken
    settled = {setup.tube.name for setup in setups if setup.steps}
    kept = [f for f in checked.findings if not (f.code in SETTLED and f.tube in settled)]
    said = [finding for setup in setups for finding in setup.findings]
    return replace(checked, findings=sorted_findings([*kept, *said])), tuple(setups)


def work_out(result: Result, feed_from: str | None = None, gap: float = 0.0) -> Work:
    """Audit, set-up and copes of a drawing.

    Args:
        result: of `load`, not of `check`, read with end A first.
        feed_from: see `set_up`.
        gap: weld gap of the copes, mm.
    """
    from converter.joints.cope import cope_frame

    copes = cope_frame(result.tubes, result.shop, result.job, result.tolerances, result.display, gap)
    checked, setups = set_up(result, feed_from)
    findings = sorted_findings([*checked.findings, *copes.findings])
    return Work(replace(checked, findings=findings), setups, copes)
