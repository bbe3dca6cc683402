"""``elbowroom springback``: learn from test bends; resume a bend."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import TYPE_CHECKING

import click

from converter.cli import options
from converter.cli.console import Console
from converter.errors import OptionError
from converter.quoting import quoted, shortened

if TYPE_CHECKING:
    from converter.bending.metal.springback import Resume, Springback
    from converter.findings import Finding
    from converter.model.section import Section
    from converter.shop.model import Die, Shop
    from converter.shop.test_bends import NewTest
    from converter.units import Display


@dataclass(frozen=True, slots=True)
class BendChoices:
    """Which die and tube, the test bends and the bend to go on with, as typed."""

    die_name: str | None
    metal: str | None
    wall: str | None
    record: tuple[str, ...]
    show: bool
    resume_at: str | None
    target: str | None


@click.command(
    short_help="Learn springback from test bends; resume a bend.",
    epilog=options.example(
        "elbowroom springback myshop.toml --die R1750 --metal 'mild steel' --wall 0.120in --record 93:90.5",
        "elbowroom springback myshop.toml --die R1750 --resume 85:83.2 --target 90",
    ),
)
@click.argument("shopfile", metavar="SHOPFILE")
@options.grouped(
    "bends",
    BendChoices,
    click.option("--die", "die_name", metavar="NAME", help="The die; may be left out when the shop has only one."),
    click.option("--metal", metavar="NAME", help="Metal of the tube."),
    click.option("--wall", metavar="LENGTH", help="Wall of the tube; half the size for a solid bar."),
    click.option(
        "--record",
        multiple=True,
        metavar="STOP:ANGLE[:LENGTH]",
        help="Add a test bend to SHOPFILE: the stop set, the angle that came out, the stick it used.",
    ),
    click.option("--show", is_flag=True, help="Show the fit; what it does anyway when not resuming."),
    click.option(
        "--resume", "resume_at", metavar="STOP:ANGLE", help="The stop a bend was set to, and what it measures."
    ),
    click.option("--target", metavar="DEGREES", help="The angle wanted: with --resume, or to see its stop."),
)
@options.limits
@options.showing
@options.talking_json
def springback(
    shopfile: str,
    bends: BendChoices,
    showing: options.ShowingChoices,
    console: Console,
) -> int:
    """Learn springback on a die of SHOPFILE from test bends, show it, and say how to go on with a bend.

    Bend an offcut to a stop, measure what came out, and record the two. Two test bends at different angles
    give the law; more show how far to trust it. Recording keeps the comments and the order of SHOPFILE.
    """
    if shopfile == "-":
        raise OptionError("springback writes to its shop file: name a file, not '-'.")
    if bends.resume_at is not None and bends.target is None:
        raise OptionError("--resume needs --target: the angle that is wanted.")
    from converter.shop.load import load_shop

    shop = load_shop(shopfile)
    request = _request(shop, bends, showing)
    if request.tests:
        from converter.findings.wording import counted
        from converter.shop.test_bends import record, rehearse

        answer = _answer(shopfile, rehearse(shopfile, request.tests), request, bends.show)
        before = record(shopfile, request.tests)
        number = counted(len(request.tests), "test bend")
        console.say(f"Recorded {number} on {_of_what(request)} in {shopfile}; {before} says what it said before.")
    else:
        answer = _answer(shopfile, shop, request, bends.show)
    from converter.cli.screens.springback import springback_document, springback_text

    if console.as_json:
        console.json(springback_document(answer))
    else:
        console.result(springback_text(answer))
    return 0


def _answer(path: str, shop: Shop, request: SpringbackRequest, show: bool) -> SpringbackAnswer:
    """The law for what was asked, and what to do next."""
    from converter.bending.metal.law_findings import fit_findings
    from converter.bending.metal.springback import resume, springback_for
    from converter.bending.setup.machine_steps import stop_to_step

    law = springback_for(shop, request.die, request.section, request.metal)
    more: Resume | None = None
    stop_set: float | None = None
    step, greatest = shop.machine.stop_step, shop.greatest_angle(request.die)
    if request.resume is not None and request.target is not None:
        more = resume(
            law, *request.resume, request.target, request.display, lambda stop: stop_to_step(stop, step, greatest)
        )
        _within(more.stop, shop, request.die, request.target)
    elif request.target is not None:
        _within(law.stop(request.target), shop, request.die, request.target)
        stop_set = stop_to_step(law.stop(request.target), step, greatest)
    findings = fit_findings(law, request.die, request.section, request.metal)
    return SpringbackAnswer(path, shop, request, law, tuple(findings), more, show or request.resume is None, stop_set)


@dataclass(frozen=True, slots=True)
class SpringbackRequest:
    """What the command was asked, understood.

    Attributes:
        die: the die.
        metal: name as typed, or None.
        wall: in mm, or None.
        section: of that wall on that die, or None.
        tests: to record (`converter.shop.test_bends.NewTest`).
        resume: stop set and angle measured, or None.
        target: angle wanted, or None.
        display: how to show lengths.
    """

    die: Die
    metal: str | None
    wall: float | None
    section: Section | None
    tests: tuple[NewTest, ...]
    resume: tuple[float, float] | None
    target: float | None
    display: Display


@dataclass(frozen=True, slots=True)
class SpringbackAnswer:
    """What there is to show; ``stop_set`` is the stop for the target alone, to the machine's step, or None."""

    path: str
    shop: Shop
    request: SpringbackRequest
    law: Springback
    findings: tuple[Finding, ...]
    resume: Resume | None
    show_fit: bool
    stop_set: float | None = None


def _request(shop: Shop, bends: BendChoices, showing: options.ShowingChoices) -> SpringbackRequest:
    """The options, understood.

    Raises:
        OptionError: one of them is wrong, or a die must be named.
    """
    from converter.bending.metal.springback import section_on
    from converter.cli.screens.shop import shop_display
    from converter.shop.metals import need_metal
    from converter.shop.test_bends import NewTest

    display = shop_display(shop, showing)
    name = bends.die_name
    if name is None and len(shop.dies) != 1:
        names = ", ".join(quoted(die.name) for die in shop.dies[:8]) or "none"
        raise OptionError(f"--die is needed: the dies of {quoted(shop.name)} are {names}.")
    die = shop.dies[0] if name is None else shop.die(name)
    metal = bends.metal
    if metal is not None:
        need_metal(metal, shop.metals, "--metal")
    wall = _length(bends.wall, "--wall", shop)
    section = section_on(die, wall, display)
    tests = []
    for typed in bends.record:
        parts = [part.strip() for part in typed.split(":")]
        if len(parts) not in (2, 3):
            raise OptionError(f"--record takes STOP:ANGLE or STOP:ANGLE:LENGTH, such as 93:90.5, not {quoted(typed)}.")
        stop, angle = _angle(parts[0], "--record"), _angle(parts[1], "--record")
        used = parts[2] if len(parts) == 3 else None
        _length(used, "--record", shop)
        tests.append(NewTest(die.name, metal, bends.wall, stop, angle, used))
    resume_at = None
    if bends.resume_at is not None:
        parts = bends.resume_at.split(":")
        if len(parts) != 2:
            raise OptionError(f"--resume takes STOP:ANGLE, such as 85:83.2, not {quoted(bends.resume_at)}.")
        resume_at = (_angle(parts[0], "--resume"), _angle(parts[1], "--resume"))
    target = None if bends.target is None else _angle(bends.target, "--target")
    return SpringbackRequest(die, metal, wall, section, tuple(tests), resume_at, target, display)


def _of_what(request: SpringbackRequest) -> str:
    """Die, metal and wall of what is recorded, and what of them is not named, since springback is kept by them."""
    metal = request.metal or "no metal named"
    wall = "no wall named" if request.wall is None else f"wall {request.display.length(request.wall)}"
    return f"the die {quoted(request.die.name)} ({metal}, {wall})"


def _angle(typed: str, option: str) -> float:
    """Degrees above 0 and up to 359."""
    try:
        value = float(typed.strip().removesuffix("°").removesuffix("deg"))
    except ValueError as error:
        raise OptionError(f"{option} takes degrees, not {quoted(typed)}.") from error
    if not isfinite(value) or not 0.0 < value <= 359.0:
        raise OptionError(f"{option}: an angle must be above 0 and up to 359 degrees, not {shortened(typed)}.")
    return value


def _length(typed: str | None, option: str, shop: Shop) -> float | None:
    """Millimetres; a bare number is in the shop file's own unit."""
    if typed is None:
        return None
    from converter.units import parse_length

    bare = typed.strip()[-1:].isdigit() or typed.strip().endswith(".")
    if bare and shop.units is None:
        raise OptionError(f"{option} has a length of no unit, {quoted(typed)}: write it as 0.120in or 3mm.")
    value = parse_length(typed, shop.units or "mm")
    if value <= 0.0:
        raise OptionError(f"{option} must be a length above zero, not {shortened(typed)}.")
    return value


def _within(stop: float | None, shop: Shop, die: Die, target: float) -> None:
    """A stop that the die and the machine can be set to."""
    limit = shop.greatest_angle(die)
    if stop is not None and limit is not None and stop > limit + 1e-9:
        who = f"the die {quoted(die.name)}" if limit == die.max_angle else "the machine"
        raise OptionError(
            f"To come out at {target:g}° it needs a stop of {stop:.2f}°, past the {limit:g}° that {who} turns.",
            code="angle-too-great",
        )
