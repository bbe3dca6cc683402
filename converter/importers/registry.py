"""The formats that can be read: one list that feeds `read`, the help texts and the docs.

Only static facts stand here; the module behind a format (and the library it needs) is
loaded when a file of that format is read. What a file is, is decided by its content, then
by its extension.
"""

from __future__ import annotations

import os
import re
import struct
from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from pathlib import PurePath
from typing import TYPE_CHECKING, cast

from converter.disk.reading import HEAD
from converter.errors import OptionError, ReadError
from converter.importers.iges.bounds import is_iges
from converter.importers.source import Source
from converter.importers.step.bounds import is_step
from converter.limits import DXF_BYTES, FILE_BYTES, MESH_BYTES, STEP_BYTES, TABLE_BYTES
from converter.names import fits
from converter.progress import begin_file
from converter.quoting import quoted
from converter.units import UNIT_CHOICES, unit_name

if TYPE_CHECKING:
    from converter.model.drawing import Drawing


@dataclass(frozen=True)
class ReadOptions:
    """What to read from a file, and how.

    Attributes:
        units: unit of the file's numbers ('mm', 'cm', 'm', 'in', 'ft'); None to believe the file.
        shop_units: unit of a drawing's numbers where neither ``units`` nor the file says one; the shop file's own.
        layout: name of the paper-space layout to read; None for model space.
        layers: names or patterns (`converter.names`) of the layers to read; empty for all.
        skip_layers: patterns of layers to leave out.
        skip_colors: colours to leave out: ACI numbers, their names, or ``#rrggbb``; patterns too.
        skip_linetypes: patterns of linetypes to leave out.
        from_outline: read tubes that are drawn by their outlines as the centerlines halfway between the sides.
        take_all: take for stock also solids that look like screws, pins, bosses, fittings and the like, and for rings
            circles that look like a section drawn on the end of a path.
        keep_left_out: gather the shapes of what is left out in ``Drawing.aside``, for a picture of the drawing as read.
    """

    units: str | None = None
    layout: str | None = None
    layers: tuple[str, ...] = ()
    skip_layers: tuple[str, ...] = ()
    skip_colors: tuple[str, ...] = ()
    skip_linetypes: tuple[str, ...] = ()
    keep_left_out: bool = False
    shop_units: str | None = None
    from_outline: bool = False
    take_all: bool = False

    @property
    def canonical_unit(self) -> str | None:
        """Our name of the unit that ``units`` asks for; None to believe the file.

        Raises:
            UnitsError: it is no unit.
            OptionError: it is a unit that no drawing is in.
        """
        if self.units is None:
            return None
        name = unit_name(self.units)
        if name not in UNIT_CHOICES:
            raise OptionError(
                f"A drawing cannot be read as {quoted(self.units)}: use one of {', '.join(UNIT_CHOICES)}.",
                code="unknown-unit",
            )
        return name

    def wants(self, layer: str | None) -> bool:
        """Whether a layer (or what stands for one in a file without layers) is to be read."""
        asked = not self.layers or any(fits(pattern, layer or "") for pattern in self.layers)
        return asked and not any(fits(pattern, layer or "") for pattern in self.skip_layers)


@dataclass(frozen=True)
class ReadFormat:
    """One format that can be read.

    Attributes:
        name: short name ('dxf').
        extensions: file extensions, lower case, with the dot.
        summary: what is read from it, one line.
        module, function: the reader ``function(source, options) -> Drawing``, loaded on first use.
        picks: which of the options `DRAWN_ONLY` mean something in this format.
        most_bytes: a larger file is refused before it is read.
    """

    name: str
    extensions: tuple[str, ...]
    summary: str
    module: str
    function: str
    picks: tuple[str, ...] = ()
    most_bytes: int = FILE_BYTES

    def load(self) -> Callable[[Source, ReadOptions], Drawing]:
        """The reader itself."""
        return cast("Callable[[Source, ReadOptions], Drawing]", getattr(import_module(self.module), self.function))


#: Options that only some formats know: field of `ReadOptions` -> what a file of the others does not have.
DRAWN_ONLY = {
    "layout": "layouts",
    "skip_colors": "colors to go by",
    "skip_linetypes": "linetypes",
    "from_outline": "drawn outlines",
    "take_all": "solids to choose from",
}

FORMATS: tuple[ReadFormat, ...] = (
    ReadFormat(
        "dxf",
        (".dxf",),
        "DXF R12 to R2018, ASCII or binary: lines, arcs, polylines, splines, ellipses, blocks",
        "converter.importers.dxf",
        "read_dxf",
        ("layout", "skip_colors", "skip_linetypes", "from_outline", "take_all"),
        most_bytes=DXF_BYTES,
    ),
    ReadFormat(
        "step",
        (".step", ".stp"),
        "STEP AP203, AP214 or AP242: sketches, wires, assemblies, tubes as solids or surfaces",
        "converter.importers.step.read",
        "read_step",
        ("take_all",),
        most_bytes=STEP_BYTES,
    ),
    ReadFormat(
        "iges",
        (".igs", ".iges"),
        "IGES 5.3, ASCII: wires, surfaces, trimmed surfaces and solids of tubes",
        "converter.importers.iges.read",
        "read_iges",
        ("take_all",),
        most_bytes=STEP_BYTES,
    ),
    ReadFormat(
        "brep",
        (".brep", ".brp"),
        "the CAD kernel's own BREP text: wires, tubes as solids or surfaces, in mm",
        "converter.importers.brep",
        "read_brep",
        ("take_all",),
        most_bytes=STEP_BYTES,
    ),
    ReadFormat(
        "mesh",
        (".stl", ".obj", ".ply", ".3mf", ".glb", ".gltf"),
        "meshes (STL, OBJ, PLY, 3MF, glTF) of tubes: coarse, fine or scanned, with or without a bore",
        "converter.importers.mesh",
        "read_mesh",
        most_bytes=MESH_BYTES,
    ),
    ReadFormat(
        "csv",
        (".csv",),
        "a bend table written by this program, or the corner points x, y, z of a tube",
        "converter.importers.tables.bend_csv",
        "read_table_csv",
        most_bytes=TABLE_BYTES,
    ),
    ReadFormat(
        "json",
        (".json",),
        "a bend table written by this program with table --json",
        "converter.importers.tables.bend_json",
        "read_table_json",
        most_bytes=TABLE_BYTES,
    ),
)

#: First bytes of files that people try, and what to do instead.
_FOREIGN: tuple[tuple[bytes, str], ...] = (
    (b"%PDF", "a PDF: export the drawing as DXF from the CAD package"),
    (b"PK\x03\x04", "a zip archive or a CAD package's own document: unpack it, or export DXF from the CAD package"),
    (b"\x89PNG", "a picture: export the drawing as DXF from the CAD package"),
    (b"\xff\xd8\xff", "a picture: export the drawing as DXF from the CAD package"),
    (b"\x1f\x8b", "a compressed file: unpack it first"),
    (b"<svg", "an SVG picture: export the drawing as DXF"),
)

_DXF_BINARY = b"AutoCAD Binary DXF"
_DXF_BLANKS = re.compile(rb"(?:\xef\xbb\xbf)?\s*+")
_DXF_COMMENT = re.compile(rb"999[ \t]*+(?:\r\n?+|\n)[^\r\n]*+(?:\r\n?+|\n)[ \t]*+")
_DXF_SECTION = re.compile(rb"0++[ \t]*+[\r\n]++[ \t]*+SECTION\b")
_BREP = (b"DBRep_DrawableShape", b"CASCADE Topology V")
_DWG = re.compile(rb"\A(?:AC10\d\d|AC1\.\d|AC2\.\d\d|MC0\.0)")
_OBJ = re.compile(rb"(?m)^v(?:[ \t]++-?(?:\d++(?:\.\d*+)?|\.\d++)(?:[eE][-+]?\d++)?){3,}[ \t]*+\r?$")
_TABLE_WORD = re.compile(r"\s*\"?(?:feed|rotation|angle|clr|tube|run|bend|name|[xyz])\b", re.IGNORECASE)
_CELL_NUMBER = re.compile(r"\s*+\"?[-+]?(?:\d++(?:\.\d*+)?|\.\d++)(?:e[-+]?\d++)?\"?\s*+\Z", re.IGNORECASE)


def detect(head: bytes, name: str) -> ReadFormat:
    """The format of a file, from its first bytes and, where they do not tell, its name.

    Raises:
        ReadError: it is something known that is not read, or nothing known.
    """
    by_name = {form.name: form for form in FORMATS}
    if head.startswith(_DXF_BINARY) or is_dxf_text(head):
        return by_name["dxf"]
    if is_step(head):
        return by_name["step"]
    if is_iges(head):
        return by_name["iges"]
    if is_brep(head):
        return by_name["brep"]
    if _DWG.match(head):
        raise ReadError(
            f"{name} is a DWG drawing, which only CAD packages read: export it as DXF and read that.",
            code="foreign-format",
            file=name,
        )
    if b'"elbowroom/table/' in head:
        return by_name["json"]
    if _is_mesh(head, name):
        return by_name["mesh"]
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    for magic, what in _FOREIGN:
        if start.startswith(magic):
            raise ReadError(f"{name} is {what}.", code="foreign-format", file=name)
    if _looks_like_table(head):
        return by_name["csv"]
    extension = PurePath(name).suffix.lower()
    for form in FORMATS:
        if extension in form.extensions:
            return form
    known = ", ".join(e for form in FORMATS for e in form.extensions)
    what = "binary data" if b"\0" in head else "text"
    raise ReadError(
        f"{name} is {what} that no reader knows: give a file of one of these kinds: {known}.",
        code="unknown-format",
        file=name,
    )


def is_dxf_text(head: bytes) -> bool:
    """Whether it begins with a section, after blanks and any number of 999 comments; they may go on past `HEAD`."""
    blanks = _DXF_BLANKS.match(head)
    start = at = blanks.end() if blanks else 0
    while comment := _DXF_COMMENT.match(head, at):
        at = comment.end()
    if _DXF_SECTION.match(head, at):
        return True
    rest = head[at:]
    return len(head) >= HEAD and at > start and b"999".startswith(rest[:3]) and len(rest.splitlines()) <= 2


def is_brep(head: bytes) -> bool:
    """Whether a file's first bytes are those of the CAD kernel's text of shapes."""
    return head.lstrip(b"\r\n ").startswith(_BREP)


def _is_mesh(head: bytes, name: str) -> bool:
    """Whether it is a mesh: by its first bytes, or, for a zip package and binary STL, also by its name."""
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    extension = PurePath(name).suffix.lower()
    if start.startswith((b"glTF", b"ply\n", b"ply\r")) or (start.startswith(b"solid") and b"facet" in head[:4096]):
        return True
    if start.startswith(b"PK\x03\x04"):
        return extension == ".3mf" or b"3D/3dmodel.model" in head
    if extension == ".stl":  # binary: any 80 bytes, then a count
        return not start.startswith(tuple(magic for magic, _ in _FOREIGN))
    if extension == ".gltf" or (start.startswith(b"{") and b'"asset"' in head):
        return True
    return (bool(_OBJ.search(head)) and b"\0" not in head) or _is_binary_stl(head)


def _is_binary_stl(head: bytes) -> bool:
    """Whether its first records are triangles: twelve moderate numbers and two bytes of nothing (for a pipe's sake)."""
    count = int.from_bytes(head[80:84], "little")
    records = min(count, 20, (len(head) - 84) // 50)
    if b"\0" not in head or records < 4:
        return False
    for k in range(records):
        *numbers, spare = struct.unpack_from("<12fH", head, 84 + 50 * k)
        if spare or not all(abs(v) < 1e9 for v in numbers) or sum(v * v for v in numbers[:3]) > 1.1:
            return False
    return True


def _looks_like_table(head: bytes) -> bool:
    """Whether the first row has two cells or more that are headings we know, or numbers."""
    if b"\0" in head:
        return False
    text = head.decode("utf-8-sig", "replace")
    rows = [row for row in text.splitlines() if row.strip() and not row.lstrip().startswith("#")]
    if not rows:
        return False
    for delimiter in (",", ";", "\t"):
        cells = rows[0].split(delimiter)
        if len(cells) >= 2 and (
            all(map(_CELL_NUMBER.match, cells)) or sum(map(bool, map(_TABLE_WORD.match, cells))) >= 2
        ):
            return True
    return False


def open_source(name: str | os.PathLike[str]) -> Source:
    """The file behind a name; '-' takes standard input now, unless its first bytes are of no format that is read.

    Raises:
        ReadError: it is missing, a directory, unreadable, empty, or too large.
    """
    begin_file(os.fspath(name), "reading")
    return Source.of(name, lambda head: detect(head, "-").most_bytes)


def read(source: str | os.PathLike[str] | Source, options: ReadOptions | None = None) -> Drawing:
    """Everything a file holds, in mm.

    Args:
        source: a file name, '-' for standard input (read whole, once), or what `open_source` gave.
        options: what to read and how; None for the defaults.

    Raises:
        ReadError: it cannot be read.
        UnitsError, OptionError: an option does not suit.
    """
    given = source if isinstance(source, Source) else open_source(source)
    head, _ = given.ends()
    form = detect(head, given.name)
    given.check_size(form.most_bytes)
    options = options or ReadOptions()
    for name, what in DRAWN_ONLY.items():
        if getattr(options, name) and name not in form.picks:
            raise OptionError(
                f"{given.name} has no {what}, which its kind of file ({form.name}) does not keep: "
                f"leave out --{name.removesuffix('s').replace('_', '-')}.",
                file=given.name,
            )
    drawing = form.load()(given, options)
    drawing.digest = given.digest()
    return drawing
