"""Lines of a drawing's texts that may tell a section, for tubes that nothing else gives one."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from ezdxf.tools.text import plain_mtext

from converter.importers.dxf.layers import decoded

#: Characters of a line that a section and its words take at most, and lines that are kept.
_LONGEST, _MOST = 120, 100
#: Signs of a line that may tell a section: what stands between its numbers, or names them.
_SIGNS = ("x", "\u00d7", "*", "sch", "wall", "wt", "t=", "thk")
#: A fraction that an MTEXT stacks, as in 1 1/2: without its bar the numbers run together.
_STACKED = re.compile(r"\\S(\d{1,2})[/#^](\d{1,2});")
#: Flag of an ATTDEF whose text is shown as it stands.
_CONSTANT = 2


class NoteLines:
    """The notes of a drawing."""

    def __init__(self) -> None:
        self._lines: dict[str, None] = {}
        self._blocks: set[str] = set()

    @property
    def lines(self) -> tuple[str, ...]:
        """Each once, in the order met."""
        return tuple(self._lines)

    def add_sheets(self, doc: Any) -> None:
        """Keep the lines of the sheets of paper space, where title blocks and parts lists stand."""
        for layout in doc.layouts:
            if not layout.is_modelspace:
                self._add_all(layout)

    def add(self, entity: Any) -> None:
        """Keep the lines of a text, a leader, a dimension or of a block reference that may tell a section."""
        kind = entity.DXFTYPE
        if kind == "TEXT":
            self._keep(entity.plain_text())
        elif kind == "MTEXT":
            self._keep_formatted(entity.text)
        elif kind in ("MULTILEADER", "MLEADER"):
            self._keep_formatted(entity.get_mtext_content())
            for attribute in entity.block_attribs:
                self._keep(attribute.text)
        elif kind == "DIMENSION":
            self._keep_formatted(entity.dxf.get("text", ""))
        elif kind == "INSERT":
            for attribute in entity.attribs:
                self._keep(attribute.plain_text())
            self._add_block(entity)

    def _add_block(self, insert: Any) -> None:
        """Keep the lines of the texts in a block, each block once."""
        name = insert.dxf.get("name")
        if name and name not in self._blocks and (block := insert.block()) is not None:
            self._blocks.add(name)
            self._add_all(block)

    def _add_all(self, entities: Iterable[Any]) -> None:
        for entity in entities:
            if entity.DXFTYPE != "ATTDEF":
                self.add(entity)
            elif entity.dxf.get("flags", 0) & _CONSTANT:
                self._keep(entity.plain_text())

    def _keep_formatted(self, text: str) -> None:
        self._keep("\n".join(plain_mtext(_STACKED.sub(r" \1/\2", text), split=True)))

    def _keep(self, text: str) -> None:
        for line in map(str.strip, text.split("\n")):
            if len(line) > _LONGEST or len(self._lines) >= _MOST or not any(map(str.isdigit, line)):
                continue
            if any(sign in line.lower() for sign in _SIGNS):
                self._lines[decoded(line)] = None
