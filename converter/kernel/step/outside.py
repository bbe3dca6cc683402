"""Parts that a STEP file keeps in other files: which files, and for which products (ISO 10303-41, documents).

The kernel opens such files by itself, by whatever path the file gives, from wherever the program runs. So it is never
shown the names: what it sees in their place leads nowhere, and who reads decides what is opened.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from converter.kernel.step.labels import text

#: Nothing can lie below a device.
_NOWHERE = "/dev/null/"
_WORDS = (b"DOCUMENT_FILE", b"EXTERNAL_SOURCE", b"EXTERNAL_IDENTIFICATION_ASSIGNMENT")
_NAMED = re.compile(
    rb"(\b(?:DOCUMENT_FILE|EXTERNAL_SOURCE|(?:APPLIED_)?EXTERNAL_IDENTIFICATION_ASSIGNMENT)\s*+\(\s*+"
    rb"(?:[A-Z]++\s*+\(\s*+)?)'((?:[^']|'')*)'"
)


@dataclass(frozen=True, slots=True)
class PartFile:
    """A product whose shape lies in another file: its name as the file has it, and the file's."""

    product: str
    file: str


def without_file_names(data: bytes) -> tuple[bytes, list[str]]:
    """The file's text with names of other files replaced by numbered ones that lead nowhere, and the names."""
    if not any(word in data for word in _WORDS):
        return data, []
    names: list[str] = []

    def replaced(match: re.Match[bytes]) -> bytes:
        names.append(decoded(match[2].decode("utf-8", "replace")))
        return match[1] + f"'{_NOWHERE}{len(names) - 1}'".encode("ascii")

    return _NAMED.sub(replaced, data), names


def part_files(session: Any, names: list[str]) -> list[PartFile] | None:
    """Which products lie in other files; None where a name got to the kernel all the same.

    Args:
        session: the kernel's work session.
        names: of `without_file_names`.
    """
    from OCP.STEPConstruct import STEPConstruct_ExternRefs

    references = STEPConstruct_ExternRefs(session)
    references.LoadExternRefs()
    found: dict[PartFile, None] = {}
    for i in range(1, references.NbExternRefs() + 1):
        token = str(references.FileName(i) or "")
        number = token.removeprefix(_NOWHERE)
        if not token:
            continue
        if number == token or not number.isdigit() or int(number) >= len(names):
            return None
        definition = references.ProdDef(i)
        product = None if definition is None or definition.Formation() is None else definition.Formation().OfProduct()
        name = "" if product is None else text(product.Name()) or text(product.Id())
        found[PartFile(name, names[int(number)])] = None
    return list(found)


_ESCAPE = re.compile(r"\\X2\\([0-9A-Fa-f]*+)\\X0\\|\\X4\\([0-9A-Fa-f]*+)\\X0\\|\\X\\([0-9A-Fa-f]{2})|\\S\\(.)")


def decoded(written: str) -> str:
    """A text of the file as it reads (ISO 10303-21, 6.4.3): doubled quotes and the escapes X2, X4, X and S."""

    def read(match: re.Match[str]) -> str:
        wide, wider, byte, upper = match.groups()
        if wide is not None:
            return bytes.fromhex(wide[: len(wide) // 4 * 4]).decode("utf-16-be", "replace")
        if wider is not None:
            return bytes.fromhex(wider[: len(wider) // 8 * 8]).decode("utf-32-be", "replace")
        return chr(int(byte, 16)) if byte is not None else chr((ord(upper) + 128) % 0x110000)

    return _ESCAPE.sub(read, written.replace("''", "'")).replace("\\\\", "\\")
