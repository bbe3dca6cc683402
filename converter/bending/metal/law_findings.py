"""What is to be told of a springback law: a poor fit, a radius that no metal explains, an estimate, or none at all."""

from __future__ import annotations

from converter.bending.metal.springback import Springback, spread_words
from converter.findings import Finding
from converter.model.section import Section
from converter.shop.model import Die
from converter.tolerances import same_within

#: Degrees; a test bend further than this from the fitted line makes a poor fit. Common practice, no source.
POOR_FIT = 1.0
#: Parts of the die's radius; test bends that imply a radius less than it by more than this are odd, as springback only
#: opens a bend. Common practice, no source.
UNDER_DIE = 0.005
#: Parts of the die's radius by which springback opens the radius at most where metal or section are not known:
#: hard titanium on a wide die comes to about this. Common practice, no source.
MOST_OPENING = 0.15
#: Times what the strengths of a metal say, and parts of the radius besides: minimum strengths say too little, and test
#: bends are read with a protractor. Past both, test bends imply an odd radius. Common practice, no source.
LIKELY_TIMES, LIKELY_BESIDES = 2.0, 0.01


def fit_findings(springback: Springback, die: Die, section: Section | None, metal: str | None) -> list[Finding]:
    """What is to be said of the figures themselves: a poor fit, or none at all.

    Args:
        springback: of `springback_for`.
        die, section, metal: whose it is; an estimate knows all three.
    """
    if springback.source == "tests":
        return [*_poor_fit(springback, die), *_odd_radius(springback, die)]
    if springback.source == "estimate":
        least, most = 100.0 * springback.low, 100.0 * springback.high
        values = {"section": section, "metal": metal, "die": die.name, "least": least, "most": most}
        return [Finding("springback-estimate", values=values, measured=springback.low, limit=springback.high)]
    if springback.source == "none":
        why = {"die": die.name, "why": springback.note.removesuffix(".")}
        return [Finding("springback-none", values=why, cure=springback.lacking)]
    return []


def _poor_fit(springback: Springback, die: Die) -> list[Finding]:
    """Test bends that do not lie on one line."""
    if springback.residual is None or springback.residual <= same_within(POOR_FIT):
        return []
    worst = max(springback.used, key=lambda test: abs(test.stop - springback.stop(test.angle)))
    return [
        Finding(
            "springback-poor-fit",
            values={"die": die.name, "stop": worst.stop, "angle": worst.angle, "off": springback.residual},
            measured=springback.residual,
            limit=POOR_FIT,
            unit="deg",
        )
    ]


def _odd_radius(springback: Springback, die: Die) -> list[Finding]:
    """Test bends whose line says that bends come out at a radius which the metal does not explain."""
    if not springback.used:
        return []
    opens = max(springback.opening(test.angle) for test in springback.used) - 1.0
    most = MOST_OPENING if springback.likely is None else LIKELY_TIMES * springback.likely + LIKELY_BESIDES
    under = 1.0 - springback.b > same_within(UNDER_DIE)
    if opens <= same_within(most) and not under:
        return []
    radius = die.clr * (springback.b if under else 1.0 + opens)
    values = {
        "die": die.name,
        "law": spread_words(springback),
        "radius": radius,
        "clr": die.clr,
        "percent": 100.0 * opens,
        "most": 100.0 * (springback.likely or 0.0),
    }
    variant = "under" if under else "usual" if springback.likely is None else "metal"
    return [
        Finding(
            "springback-odd-radius",
            variant=variant,
            values=values,
            measured=radius,
            limit=die.clr if under else die.clr * (1.0 + most),
            unit="mm",
        )
    ]
