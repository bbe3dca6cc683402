"""The JSON of ``elbowroom setup``: ``elbowroom/setup/1``. Lengths in mm, angles in degrees, full precision.

The keys are described in docs/setup-json.md; keys may be added under the same number, none is changed.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from converter.bending.setup.setup import Setup, Step
from converter.bending.setup.words import turn_words
from converter.exporters.data.table_json import finding_value, reading_value, saw_cuts_value, section_value, with_parts
from converter.findings import ERROR, Finding, refused_bends
from converter.units import Display

if TYPE_CHECKING:
    from converter.job import Job

SETUP_SCHEMA = "elbowroom/setup/1"


def job_setup(job: Job) -> dict[str, Any]:
    """The set-ups of the tubes shown of a job, with their parts."""
    shown = job.shown
    document = setup_document(job.source, job.shop.name, shown.setups, shown.findings, job.display)
    for value, setup in zip(document["tubes"], shown.setups, strict=True):
        tube = setup.tube
        value |= {
            "section": None if tube.section is None else section_value(tube.section),
            "metal": tube.metal,
            **saw_cuts_value(setup.cuts),
            "lacking": setup.lacking or None,
            "refused": any(f.tube == tube.run.name and f.severity == ERROR for f in shown.findings),
        }
    return with_parts(document | reading_value(job), shown.parts)


def setup_document(
    source: str,
    shop_name: str,
    setups: Iterable[Setup],
    findings: Iterable[Finding] = (),
    display: Display | None = None,
) -> dict[str, Any]:
    """Set-ups as plain values, ready for `converter.exporters.data.table_json.dumps`.

    Args:
        source: the file as the user named it.
        shop_name: name of the shop.
        setups: in order.
        findings: everything said.
        display: how findings show lengths; mm for None.
    """
    findings = tuple(findings)
    refused = refused_bends(findings)
    return {
        "schema": SETUP_SCHEMA,
        "source": source,
        "shop": shop_name,
        "tubes": [_tube(setup, refused) for setup in setups],
        "findings": [finding_value(finding, display) for finding in findings],
    }


def _tube(setup: Setup, refused: frozenset[tuple[str, int]]) -> dict[str, Any]:
    clearance = setup.clearance
    return {
        "name": setup.tube.name,
        "feed_from": setup.feed_from,
        "stick_length": setup.stick_length,
        "developed_length": setup.length,
        "drawn_length": setup.tube.run.table.developed_length,
        "extra_a": setup.extra_a,
        "extra_b": setup.extra_b,
        "cope_a": setup.cuts.change("A"),
        "cope_b": setup.cuts.change("B"),
        "coped": list(setup.cuts.by_end),
        "order": [step.bend for step in setup.steps],
        "can_be_held": not setup.plan.lacks,
        "bends": [_bend(setup, step, (setup.tube.name, step.bend) in refused) for step in setup.steps],
        "clearance": {
            "least": clearance.least if clearance else None,
            "bend": clearance.bend if clearance else None,
            "against": clearance.against if clearance else None,
            "unknown": setup.room_unknown or None,
        },
    }


def _bend(setup: Setup, step: Step, is_refused: bool) -> dict[str, Any]:
    return {
        "bend": step.bend,
        "die": step.die.name if step.die else None,
        "mark": step.mark,
        "mark_from_a": setup.mark_from("A", step),
        "mark_from_b": setup.mark_from("B", step),
        "start": step.start,
        "arc": step.stick,
        "target_angle": step.target,
        "stop_angle": step.stop,
        "springback_source": step.springback.source,
        "radius_out": step.radius,
        "roll": step.roll,
        "roll_arc": step.roll_arc,
        "roll_total": step.total,
        "turn": turn_words(step.roll),
        "stop_set": step.stop_set,
        "comes_out": step.comes_out,
        "turn_set": step.turn_set,
        "turn_set_total": step.total_set,
        "clamp_inverted": step.inverted is not None,
        "refused": is_refused,
    }
