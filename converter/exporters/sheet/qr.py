"""A square code (QR, ISO/IEC 18004) that leads from a printed part to the same part on the screen.

Where the sheet's own address is known it opens this part there; else it says, as text, mark, part and how many.
"""

from __future__ import annotations

from functools import lru_cache
from urllib.parse import urlsplit

from converter.errors import MissingLibraryError, OptionError
from converter.quoting import quoted

#: Bytes that a code of 45 modules a side (version 7 of the standard) holds at its lowest level of correction: it stays
#: readable at the size it is printed.
MOST_BYTES = 154
#: What '#part-123' and the like take of it.
_KEY = 14
#: Modules that must stay white around it.
QUIET = 4

Modules = tuple[tuple[bool, ...], ...]


def checked_address(address: str) -> str:
    """The address that a sheet will be opened at, as it goes into codes.

    Raises:
        OptionError: it is no http or https address, names a place within the page, or is too long.
    """
    try:
        parts = urlsplit(address)
        usable = parts.scheme in ("http", "https") and bool(parts.hostname) and (parts.port or 1) > 0
    except ValueError:
        usable = False
    if not usable or not address.isascii() or not address.isprintable() or " " in address:
        raise OptionError(
            f"The sheet's address must begin with http:// or https:// and a machine's name, not {quoted(address)}."
        )
    if "#" in address:
        raise OptionError(
            f"The sheet's address is that of the whole page, without '#' and what follows it, not {quoted(address)}."
        )
    if parts.username or parts.password:
        raise OptionError("The sheet's address must not hold a name or a password: it is printed for all to read.")
    if len(address) > MOST_BYTES - _KEY:
        raise OptionError(
            f"The sheet's address has {len(address)} letters; a printed code holds {MOST_BYTES - _KEY}: give a "
            "shorter one."
        )
    return address


def code_text(address: str, mark: str, key: str, title: str) -> str:
    """What the code of a part says.

    Args:
        address: of the sheet, as `checked_address` gives it; '' where it has none.
        mark: of the sheet.
        key: of the part, which is also its place in the sheet: ``part-3``.
        title: ``PICKET, 7 off``.
    """
    if address:
        return f"{address}#{key}"
    return f"{mark} {title}".encode("utf-8", "replace")[:MOST_BYTES].decode("utf-8", "ignore")


@lru_cache(maxsize=512)
def code_modules(text: str) -> Modules:
    """The modules of a code, row by row from the top, dark ones true, without the white around them.

    Raises:
        MissingLibraryError: the library for it is not installed.
    """
    try:
        import segno
    except ModuleNotFoundError as error:
        raise MissingLibraryError(
            "A printed sheet needs a library that is not installed: run `pip install segno`."
        ) from error
    # in UTF-8 whatever the letters, and the best correction that the size has room for
    code = segno.make_qr(text, error="l", encoding="utf-8", boost_error=True)
    return tuple(tuple(map(bool, row)) for row in code.matrix)


def dark_runs(modules: Modules) -> list[tuple[int, int, int]]:
    """Dark modules that lie side by side, as (row, first column, how many)."""
    runs: list[tuple[int, int, int]] = []
    for y, row in enumerate(modules):
        x = 0
        while x < len(row):
            length = 0
            while x + length < len(row) and row[x + length]:
                length += 1
            if length:
                runs.append((y, x, length))
            x += length or 1
    return runs


def code_svg(text: str, title: str) -> str:
    """The code as an SVG element for a page, black on white whatever the page's colours are.

    Args:
        text: see `code_text`.
        title: for people who cannot see it.
    """
    from html import escape

    modules = code_modules(text)
    side = len(modules) + 2 * QUIET
    path, end = "", (-1, 0)
    for y, x, n in dark_runs(modules):
        # strokes one module wide, each row's from the end of the one before
        path += f"m{x - end[1]} 0h{n}" if y == end[0] else f"M{x + QUIET} {y + QUIET}.5h{n}"
        end = (y, x + n)
    return (
        f'<svg class="code" viewBox="0 0 {side} {side}" role="img" aria-label="{escape(title)}" '
        f'shape-rendering="crispEdges"><path fill="#fff" d="M0 0h{side}v{side}h-{side}z"/>'
        f'<path stroke="#000" d="{path}"/></svg>'
    )
