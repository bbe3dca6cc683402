"""Tubes in pieces as JSON: ``elbowroom/split/1`` (docs/commands.md)."""

from __future__ import annotations

from typing import Any

from converter.bending.pieces import PieceJoint, TubePieces
from converter.exporters.data.table_json import finding_value, reading_value, section_value, tube_value
from converter.job.pieces import JobInPieces


def split_document(result: JobInPieces) -> dict[str, Any]:
    """The document; lengths mm, exact.

    Args:
        result: a job and its pieces.
    """
    sticks = {setup.tube.name: setup.stick_length for setup in result.job.setups}
    return {
        "schema": "elbowroom/split/1",
        "source": result.whole.source,
        "shop": result.whole.shop.name,
        "tubes": [_tube(pieces, sticks) for pieces in result.split],
        **reading_value(result.whole),
        "impossible": list(result.impossible),
        "findings": [finding_value(finding, result.job.display) for finding in result.findings],
    }


def _tube(pieces: TubePieces, sticks: dict[str, float]) -> dict[str, Any]:
    return {
        "name": pieces.tube.name,
        "developed_length": pieces.tube.run.table.developed_length,
        "pieces": [{**tube_value(piece), "stick_length": sticks[piece.name]} for piece in pieces.pieces],
        "joints": [_joint(joint) for joint in pieces.joints],
    }


def _joint(joint: PieceJoint) -> dict[str, Any]:
    sleeve = joint.sleeve
    return {
        "at": joint.at,
        "straight": joint.straight,
        "kind": joint.kind,
        "place": list(joint.place),
        "mates": list(joint.mates),
        "sleeve": None
        if sleeve is None or sleeve.section is None
        else {"section": section_value(sleeve.section), "length": sleeve.run.table.developed_length},
    }
