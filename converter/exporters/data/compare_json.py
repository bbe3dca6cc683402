"""Made tubes against the drawn ones as JSON: ``elbowroom/compare/2`` (docs/compare.md)."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from converter.job.made_tubes import Comparisons, TubeComparison


def compare_document(answers: Comparisons, made_of: str) -> dict[str, Any]:
    """The document; lengths mm, angles degrees, differences made less drawn.

    Args:
        answers: the comparisons.
        made_of: what the made tubes were read from.
    """
    return {
        "schema": "elbowroom/compare/2",
        "nominal": answers.source,
        "measured": made_of,
        "tubes": [_tube_value(answer) for answer in answers.tubes],
        "not_measured": list(answers.not_measured),
        "refused": [{"tube": name, "message": error.message} for name, error in answers.refused.items()],
    }


def _tube_value(answer: TubeComparison) -> dict[str, Any]:
    found, fit = answer.comparison, answer.comparison.fit
    return {
        "tube": answer.tube.name,
        "from_b": found.from_b,
        "mirrored": found.mirrored,
        "bends": [
            {
                "bend": each.bend,
                "straight": {"drawn": each.drawn.feed, "off": each.feed},
                "leg": found.legs[each.bend - 1],
                "rotation": {"drawn": each.drawn.rotation, "off": each.rotation},
                "angle": {"drawn": each.drawn.angle, "off": each.angle},
                "clr": {"drawn": each.drawn.clr, "off": each.clr},
            }
            for each in found.bends
        ],
        "tail": {"drawn": found.nominal.tail, "off": found.tail, "leg": found.legs[-1]},
        "developed_length": {"drawn": found.nominal.developed_length, "off": found.developed},
        "end_miss": found.end_miss,
        "ends_apart": found.ends_apart,
        "best_fit": {
            "most": fit.most, "at": fit.at, "mean": fit.mean, "end_a": fit.ends[0], "end_b": fit.ends[1],
            "turn": fit.turn.tolist(), "shift": fit.shift.tolist(),
        },
        "limits": None if found.limits is None else {"name": found.limits.name, "source": found.limits.source},
        "within": None if found.limits is None else not found.excesses,
        "excesses": [asdict(excess) for excess in found.excesses],
        "next": [asdict(step) for step in answer.steps],
        "refused": sorted(answer.refused),
        "feed_from": answer.setup.feed_from,
    }  # fmt: skip
