"""The one family of exceptions that elbowroom raises on purpose.

Every message is one clear sentence: what is wrong, where, and what to do about it.
A library function never prints and never exits; the command line turns these into
one line on stderr (or a JSON error object) and exit status 2.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
R = TypeVar("R")


class ElbowroomError(Exception):
    """Root of every deliberate error.

    Args:
        message: one sentence for a person, naming the cure.
        code: short kebab-case name of the kind of failure, stable across versions.
        file: the file concerned, as the user named it, or None.
        where: place within the file (layer, entity handle, line, key path), or None.
    """

    default_code = "failed"

    def __init__(
        self,
        message: str,
        *,
        code: str | None = None,
        file: str | None = None,
        where: str | None = None,
    ) -> None:
        super().__init__(message)
        self.message = message
        self.code = code or self.default_code
        self.file = file
        self.where = where


class ReadError(ElbowroomError):
    """An input file cannot be read as what it claims to be."""

    default_code = "unreadable"


class TooLargeError(ReadError):
    """An input holds more than is read (`converter.limits`)."""

    default_code = "too-large"

    @classmethod
    def of(cls, file: str, amount: str, most: str, cure: str, *, where: str | None = None) -> TooLargeError:
        """The sentence for it.

        Args:
            file: as the user named it.
            amount: what the file has, such as '3,000 bends'.
            most: the limit, such as '2,000'.
            cure: what to do.
            where: place within the file, or None.
        """
        place = f", {where}," if where else ""
        text = f"{file}{place} has {amount}, more than the {most} that are read: {cure}"
        return cls(text if text.endswith("?") else f"{text}.", file=file, where=where)


class WriteError(ElbowroomError):
    """An output cannot be written; nothing was left half-written."""

    default_code = "unwritable"


class UnitsError(ElbowroomError, ValueError):
    """A length, an angle or the name of a unit cannot be understood."""

    default_code = "bad-length"


class OptionError(ElbowroomError, ValueError):
    """An option's value is out of range or contradicts another."""

    default_code = "bad-option"


class ShopError(ElbowroomError, ValueError):
    """A shop or job file is malformed; ``where`` holds the path of the key."""

    default_code = "bad-shop"


class GeometryError(ElbowroomError, ValueError):
    """A value would describe an impossible shape (zero radius, NaN, ...)."""

    default_code = "bad-geometry"


def attempted(work: Callable[P, R], *given: P.args, **named: P.kwargs) -> R | GeometryError:
    """What some work makes, or why the shapes it is about make nothing."""
    try:
        return work(*given, **named)
    except GeometryError as error:
        return error


class MissingLibraryError(ElbowroomError):
    """A library, or a system library beneath it, is not installed."""

    default_code = "missing-library"
