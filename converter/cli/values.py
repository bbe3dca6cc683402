"""What a person types after an option, checked as click reads it."""

from __future__ import annotations

import click

from converter.errors import ElbowroomError, OptionError
from converter.quoting import quoted, shortened
from converter.tolerances import MOST_MITRE
from converter.units import UNIT_CHOICES, parse_length, unit_name

#: Where click's context keeps the limits as typed, None for none.
SECONDS, MEMORY = "converter.limit-time", "converter.limit-memory"


def length(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    """Check that it is a length above zero; the text itself is the value."""
    if value is not None and _millimetres(param, value) <= 0.0:
        raise OptionError(f"{param.opts[0]} must be a length above zero, not {shortened(value)}.")
    return value


def lengths(ctx: click.Context, param: click.Parameter, typed: tuple[str, ...]) -> tuple[str, ...]:
    """Check that each is a length above zero; the texts themselves are the value."""
    for value in typed:
        length(ctx, param, value)
    return typed


def gap(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    """Check that it is a length of zero or more; the text itself is the value."""
    if value is not None and _millimetres(param, value) < 0.0:
        raise OptionError(f"{param.opts[0]} must be a length of zero or more, not {shortened(value)}.")
    return value


def _millimetres(param: click.Parameter, value: str) -> float:
    try:
        return parse_length(value)
    except ElbowroomError as error:
        raise OptionError(f"{param.opts[0]}: {error.message}", code=error.code) from error


def drawing_unit(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    """The canonical name of a unit a drawing may be read in; 'inch' and '"' do as well as 'in'."""
    if value is None:
        return None
    unit = unit_name(value)
    if unit not in UNIT_CHOICES:
        raise OptionError(f"{quoted(value)} is not a unit for a drawing: use one of {', '.join(UNIT_CHOICES)}.")
    return unit


def mitre(ctx: click.Context, param: click.Parameter, value: str | None) -> float | None:
    """Degrees from square, from 0 to `MOST_MITRE`."""
    if value is None:
        return None
    angle = _degrees(param, value)
    if not 0.0 <= angle <= MOST_MITRE:
        raise OptionError(f"{param.opts[0]} must lie between 0 and {MOST_MITRE:g} degrees, not {shortened(value)}.")
    return angle


def _degrees(param: click.Parameter, value: str) -> float:
    try:
        return float(value.strip().removesuffix("°").removesuffix("deg"))
    except ValueError as error:
        raise OptionError(f"{param.opts[0]} takes degrees, not {quoted(value)}.") from error


def tangent_angle(ctx: click.Context, param: click.Parameter, value: str | None) -> float | None:
    """Degrees, above 0 and below 45."""
    if value is None:
        return None
    angle = _degrees(param, value)
    if not 0.0 < angle < 45.0:
        raise OptionError(f"{param.opts[0]} must lie between 0 and 45 degrees, not {shortened(value)}.")
    return angle


def limit_seconds(ctx: click.Context, param: click.Parameter, value: str | None) -> None:
    """Set the limit at once, and note it: the number of seconds, or 'none'."""
    if value is None:
        return
    text = value.strip().lower().removesuffix("s")
    try:
        seconds = None if text == "none" else float(text)
    except ValueError:
        seconds = 0.0
    if seconds is not None and not 1.0 <= seconds <= 1e9:
        raise OptionError(f"{param.opts[0]} takes seconds, at least 1, or none, not {quoted(value)}.")
    from converter.cli.supervise import allow_seconds

    allow_seconds(seconds)
    ctx.meta[SECONDS] = seconds


#: Bytes in each unit of memory, as a person types it.
_BYTES = {"mb": 10**6, "gb": 10**9, "tb": 10**12, "m": 10**6, "g": 10**9, "mib": 2**20, "gib": 2**30}
#: Bytes that the libraries alone take before there is a drawing.
_LEAST_MEMORY = 500 * 10**6


def limit_memory(ctx: click.Context, param: click.Parameter, value: str | None) -> None:
    """Set the limit at once, and note it: a number with MB or GB, or 'none'."""
    if value is None:
        return
    text = value.strip().lower()
    number = text.rstrip("abcdefghijklmnopqrstuvwxyz")
    try:
        most = None if text == "none" else int(float(number) * _BYTES[text[len(number) :].strip()])
    except (KeyError, ValueError, OverflowError):
        raise OptionError(f"{param.opts[0]} takes a size such as 4GB or 800MB, or none, not {quoted(value)}.") from None
    if most is not None and not _LEAST_MEMORY <= most < 2**62:
        raise OptionError(f"{param.opts[0]} must be at least {_LEAST_MEMORY // 10**6}MB, not {shortened(value)}.")
    from converter.cli.supervise import allow_memory

    allow_memory(most)
    ctx.meta[MEMORY] = most


def first_end(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    """'A', 'B' or 'best', in either case; None when not asked."""
    if value is None:
        return None
    word = value.strip()
    if word.lower() == "best":
        return "best"
    if word.upper() not in ("A", "B"):
        raise OptionError(f"{param.opts[0]} takes A, B or best, not {quoted(value)}.")
    return word.upper()


def paper_size(ctx: click.Context, param: click.Parameter, value: str | None) -> str:
    """'A4' or 'Letter' in any case; '' when not asked."""
    from converter.exporters.options import PAPERS

    by_name = {name.casefold(): name for name in PAPERS}
    if value is not None and value.strip().casefold() not in by_name:
        raise OptionError(f"{param.opts[0]} takes {' or '.join(PAPERS)}, not {quoted(value)}.")
    return "" if value is None else by_name[value.strip().casefold()]


def folder(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    """A folder to write to; an empty name is a slip in a script, not the current folder."""
    if value is not None and not value.strip():
        raise OptionError(f"{param.opts[0]} names no folder: write --out . for the current one.")
    return value
