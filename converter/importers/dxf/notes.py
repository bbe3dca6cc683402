"""Lines of a drawing's texts that may tell a section, for tubes that nothing else gives one."""

from __future__ import annotations

from typing import Any

from converter.importers.dxf.layers import decoded

#: Characters of a line that a section and its words take at most, and lines that are kept.
_LONGEST, _MOST = 120, 100


class NoteLines:
    """The notes of a drawing."""

    def __init__(self) -> None:
        self._lines: dict[str, None] = {}

    @property
    def lines(self) -> tuple[str, ...]:
        """Each once, in the order met."""
        return tuple(self._lines)

    def add(self, entity: Any) -> None:
        """Keep the lines of a text, of a leader's text or of the texts of a block reference that may tell a section."""
        kind = entity.DXFTYPE
        if kind in ("TEXT", "MTEXT"):
            self._keep(entity.plain_text())
        elif kind in ("MULTILEADER", "MLEADER"):
            self._keep(entity.get_mtext_content().replace("\\P", "\n"))
        elif kind == "INSERT":
            for attribute in entity.attribs:
                self._keep(attribute.plain_text())

    def _keep(self, text: str) -> None:
        for line in map(str.strip, text.split("\n")):
            if len(line) > _LONGEST or len(self._lines) >= _MOST or not any(map(str.isdigit, line)):
                continue
            if any(sign in line.lower() for sign in ("x", "\u00d7", "sch")):
                self._lines[decoded(line)] = None
