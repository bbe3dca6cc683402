"""Which layers, colours and linetypes are read: hidden layers, and construction geometry by pattern."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from ezdxf.lldxf.encoding import decode_dxf_unicode, has_dxf_unicode

from converter.errors import OptionError
from converter.importers.registry import ReadOptions
from converter.names import fits
from converter.quoting import quoted, shortened

BYBLOCK, BYLAYER = 0, 256

#: names of the first colours of the ACI, as CAD packages show them
_COLOR_NAMES = {1: "red", 2: "yellow", 3: "green", 4: "cyan", 5: "blue", 6: "magenta", 7: "white", 8: "grey", 9: "grey"}
_OTHER_NAMES = {"gray": "grey", "black": "white"}  # colour 7 is black on a white ground

#: Linetypes of dashes or dots by names that general writers give them, for files that do not define them.
_BROKEN = re.compile(r"hidden|dash|cent(?:er|re)|phantom|dot|divide|border|acad_iso(?!01)")
_DASH = 49  # group code of a dash (above 0), a dot (0) or a gap (below 0) in the definition of a linetype


@dataclass(frozen=True, slots=True)
class LayerFacts:
    """What is known of one layer.

    Attributes:
        name: as a person reads it.
        hidden: 'frozen', 'off' or ''.
        why: why the options leave it out, or ''.
        color, linetype: what its entities take when they say "by layer".
        rgb: its true colour as 0xRRGGBB, or None.
    """

    name: str
    hidden: str
    why: str
    color: int
    linetype: str
    rgb: int | None = None


def on_hidden(facts: LayerFacts) -> str:
    """Why what lies on a hidden layer is left out."""
    return f"on the {facts.hidden} layer {quoted(facts.name)}"


@dataclass(frozen=True, slots=True)
class EntityLook:
    """Colour and linetype an entity is given, before by-layer and by-block are resolved."""

    color: int = BYLAYER
    linetype: str = "BYLAYER"
    rgb: int | None = None

    @classmethod
    def of(cls, d: dict[str, Any]) -> EntityLook:
        """From an entity's attributes."""
        return cls(d.get("color", BYLAYER), d.get("linetype", "BYLAYER"), d.get("true_color"))

    def inside(self, block: EntityLook) -> EntityLook:
        """As seen through the block reference it is inserted by: by-block takes the reference's."""
        by_block = self.color == BYBLOCK and self.rgb is None
        return EntityLook(
            block.color if by_block else self.color,
            block.linetype if self.linetype.upper() == "BYBLOCK" else self.linetype,
            block.rgb if by_block else self.rgb,
        )


class Linetypes:
    """Which linetypes of a drawing are no continuous line.

    Args:
        table: the drawing's linetypes.
    """

    def __init__(self, table: Any) -> None:
        self._table = table
        self._broken: dict[str, str | None] = {}

    def broken(self, name: str) -> str | None:
        """The name as a person reads it, of a linetype of dashes or dots; None of a continuous one."""
        try:
            return self._broken[name]
        except KeyError:
            found = self._broken[name] = decoded(name) if self._is_broken(name) else None
            return found

    def _is_broken(self, name: str) -> bool:
        if not self._table.has_entry(name):
            return _BROKEN.search(name.casefold()) is not None
        return any(tag.code == _DASH and tag.value < 0.0 for tag in self._table.get(name).pattern_tags.tags)


class LayerRules:
    """The layer table of a drawing under the options of this reading; look-ups are cached by name.

    Args:
        doc: the DXF library's document.
        options: of this reading.

    Raises:
        OptionError: a colour pattern can match no colour.
    """

    def __init__(self, doc: Any, options: ReadOptions) -> None:
        self._table = {decoded(layer.dxf.name).casefold(): layer for layer in doc.layers}
        self._linetypes = Linetypes(doc.linetypes)
        self._options = options
        self._colors = [(p, _color_pattern(p)) for p in options.skip_colors]
        self._facts: dict[str, LayerFacts] = {}

    @property
    def by_look(self) -> bool:
        """Whether colours or linetypes decide anything."""
        return bool(self._colors or self._options.skip_linetypes)

    def facts(self, raw: str) -> LayerFacts:
        """The facts of the layer an entity names."""
        found = self._facts.get(raw)
        if found is None:
            found = self._facts[raw] = self._look_up(decoded(raw))
        return found

    def _look_up(self, name: str) -> LayerFacts:
        asked, skipped = self._options.layers, self._options.skip_layers
        why = ""
        if asked and not any(fits(pattern, name) for pattern in asked):
            why = f"on layer {quoted(name)}, which was not asked for"
        for pattern in skipped:
            if fits(pattern, name):
                why = f"on layer {quoted(name)}, left out by the pattern {quoted(pattern)}"
                break
        layer = self._table.get(name.casefold())
        if layer is None:
            return LayerFacts(name, "", why, 7, "CONTINUOUS")
        d = layer.dxf
        flags = int(d.get("flags", 0))
        color = int(d.get("color", 7))
        hidden = "frozen" if flags & 1 else "off" if color < 0 else ""
        # the table's spelling: "RAIL" and "Rail" are one layer
        return LayerFacts(
            decoded(d.name), hidden, why, abs(color), d.get("linetype", "CONTINUOUS"), d.get("true_color")
        )

    def why_look(self, look: EntityLook, layer: LayerFacts) -> str:
        """Why an entity's colour or linetype leaves it out, or ''."""
        if self._colors:
            by_layer = look.color == BYLAYER and look.rgb is None
            texts = _color_texts(layer.color if by_layer else look.color, layer.rgb if by_layer else look.rgb)
            for pattern, color in self._colors:
                if fits(color, *texts):
                    return f"left out by the colour {quoted(pattern)}"
        linetype = _linetype(look.linetype, layer)
        for pattern in self._options.skip_linetypes:
            if fits(pattern, decoded(linetype)):
                return f"left out by the linetype {quoted(pattern)}"
        return ""

    def broken(self, linetype: str | None, layer: LayerFacts) -> str | None:
        """The name of the linetype of dashes or dots that something is drawn in; None for a continuous line.

        Args:
            linetype: as its entity gives it, or None.
            layer: that it lies on.
        """
        return self._linetypes.broken(_linetype(linetype or "", layer))

    def check_layer_patterns(self, options: ReadOptions) -> None:
        """Refuse a ``layers`` pattern that no layer answers to, of the table or named by an entity.

        Raises:
            OptionError: naming the layers there are.
        """
        table = (decoded(layer.dxf.name) for layer in self._table.values())
        known = sorted({*table, *(facts.name for facts in self._facts.values())})
        for pattern in options.layers:
            if not fits(pattern, *known):
                some = ", ".join(map(shortened, known[:20])) + (", ..." if len(known) > 20 else "")
                raise OptionError(f"No layer matches {quoted(pattern)}: the drawing has {some}.", code="no-such-layer")


def _linetype(own: str, layer: LayerFacts) -> str:
    """The linetype of an entity, "by layer" resolved."""
    return own if own.upper() not in ("BYLAYER", "") else layer.linetype


def _color_texts(aci: int, rgb: int | None) -> list[str]:
    texts = [str(aci)]
    if aci in _COLOR_NAMES:
        texts.append(_COLOR_NAMES[aci])
    if rgb is not None:
        texts = [f"#{rgb & 0xFFFFFF:06x}"]  # the ACI beside a true colour is only its nearest
    return texts


def _color_pattern(pattern: str) -> str:
    folded = pattern.strip().casefold()
    folded = _OTHER_NAMES.get(folded, folded)
    number = int(folded) if folded.isascii() and folded.isdigit() and len(folded) <= 3 else None
    fits = (
        any(c in folded for c in "*?[")
        or folded in _COLOR_NAMES.values()
        or (number is not None and 1 <= number <= 255)
        or (len(folded) == 7 and folded[0] == "#" and all(c in "0123456789abcdef" for c in folded[1:]))
    )
    if not fits:
        raise OptionError(
            f"{quoted(pattern)} is no colour: give an ACI number from 1 to 255, red, yellow, green, "
            "cyan, blue, magenta, white, grey, or #rrggbb.",
            code="bad-color",
        )
    return str(number) if number is not None else folded


def decoded(name: str) -> str:
    r"""A name as a person reads it: \U+XXXX escapes resolved, undecodable bytes read as UTF-8 or replaced."""
    if has_dxf_unicode(name):
        name = decode_dxf_unicode(name)
    if name.isascii():
        return name
    try:
        name.encode("utf-8")
    except UnicodeEncodeError:
        # bytes that the file's code page does not know came in as lone surrogates
        try:
            name = name.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
        except UnicodeEncodeError:  # an escape wrote half a character: two make one, one alone is replaced
            name = name.encode("utf-16-le", "surrogatepass").decode("utf-16-le", "replace")
    return name
