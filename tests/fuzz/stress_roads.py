"""One random tube by all the roads that it can come in by: what is made of it must be the same.

Drawn by the drawing library; from there by our own files (bend table as CSV and JSON, points, wires, solids as text,
meshes), and as the kernel's solid. What a road does not know is not asked of it:

- wires, points and the drawing know no section: they are told it;
- tables as CSV and JSON keep a tube's place too, points all but how the flats of a straight tube lie;
- a solid and a mesh do not say which end is A: the tube is turned round where the ends have changed names;
- numbers of CSV files have 6 decimals of a mm, so a mark is as far off as the roundings of all rows before it add up;
- a flat oval is not read from meshes; any other mesh has corners only, which in ours lie on the tube but for the digits
  that 3MF keeps, and the single precision of STL;
- a mesh whose table is told not to fit (of 100 tubes two, with tight bends close together) is counted, not compared;
- a tube that runs into itself is passed over: an end coped to its own bend at 20 degrees moves by thousands of times
  what its straights do.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from io import BytesIO
from math import cos, pi, sin
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

from drawn import Drawn, draw, moved
from ezdxf.math import Matrix44
from shop_texts import STEEL, shop_text, springy, table

from converter.exporters.options import WriteOptions
from converter.exporters.registry import write
from converter.importers.registry import ReadOptions
from converter.job import Job, open_job
from converter.kernel.shapes.solids import tube_solid
from converter.kernel.step.write import StepItem, write_step
from converter.model.bends import Bend, BendTable, Placement
from converter.settings import Settings

#: A section as it is typed, its greatest size, and the dies that take it: key and size.
SECTIONS: tuple[tuple[str, float, tuple[tuple[str, Any], ...]], ...] = (
    ("40x2mm", 40.0, (("od", 40.0),)),
    ("33.7x2.6mm", 33.7, (("od", 33.7),)),
    ("20mm bar", 20.0, (("od", 20.0),)),
    ("40x40x2mm", 40.0, (("square", 40.0),)),
    ("50x30x2mm", 50.0, (("rectangle", [50.0, 30.0]), ("rectangle", [30.0, 50.0]))),
    ("flat-oval 60x30x2mm", 60.0, (("flat_oval", [60.0, 30.0]), ("flat_oval", [30.0, 60.0]))),
    ("25mm square bar", 25.0, (("square", 25.0),)),
    ("40x15mm flat bar", 40.0, (("rectangle", [40.0, 15.0]), ("rectangle", [15.0, 40.0]))),
)


@dataclass(frozen=True)
class Road:
    """A way in.

    Attributes:
        file: what is written, by its format or 'kernel'; ending of the file.
        length, angle: mm and degrees that its answers may be off by.
        told: whether it must be told the section.
        unit: that the file does not name, or None.
    """

    file: str
    ending: str
    length: float
    angle: float
    told: bool = False
    unit: str | None = None


ROADS = {
    "table csv": Road("csv", ".csv", 2e-5, 1e-5),
    "json": Road("json", ".json", 1e-9, 1e-9),
    "points": Road("points-csv", "-points.csv", 1e-8, 1e-7, told=True),
    "centerline": Road("dxf", ".dxf", 1e-8, 1e-8, told=True),
    "wire": Road("wires", ".step", 1e-8, 1e-8, told=True),
    "solid": Road("step", ".step", 1e-8, 1e-8),
    "kernel's solid": Road("kernel", ".step", 1e-8, 1e-8),
    "3mf": Road("3mf", ".3mf", 2e-4, 1e-5),
    "stl": Road("stl", ".stl", 2e-3, 1e-4, unit="mm"),
}
MESHES = ("3mf", "stl")
#: What is told of how a drawing was read, not of the tube.
_OF_READING = ("mesh-", "solid-", "units-", "section-", "radius-approximate", "radius-shared", "curve-",
               "joint-unplaced", "plane-open")  # fmt: skip


def random_tube(rng: Random) -> tuple[str, str, BendTable, Placement]:
    """Section, shop file, table and place; straights at and beside what the die asks for."""
    section, size, dies = rng.choice(SECTIONS)
    clr = round(size * rng.choice((3.0, 4.0, 6.0)), 1)
    ends = {"clamp": 1.5 * size, "between": 1.6 * size, "tail": size}
    shop = shop_text(
        "by every road",
        table("[machine]", max_angle=185.0, max_length=6000.0),
        *(
            table("[[die]]", name=f"D{i}", clr=clr, max_angle=170.0, mark_offset=3.0, **{key: value}, **ends)
            for i, (key, value) in enumerate(dies)
        ),
        STEEL,
        springy(*(f"D{i}" for i in range(len(dies)))),
    )
    flat = not (section.startswith(("33", "20")) or section == "40x2mm")
    bends = []
    for i in range(rng.randint(1, 5)):
        turn = rng.choice((0.0, 90.0, -90.0, 180.0)) if flat else rng.choice((0.0, 180.0, rng.uniform(-179.0, 179.0)))
        feed = rng.choice((ends["between"], ends["clamp"], ends["between"] - 1.0, rng.uniform(size, 8.0 * size)))
        angle = rng.choice((30.0, 90.0, 165.0, rng.uniform(8.0, 150.0)))
        bends.append(Bend(feed, turn if i else 0.0, angle, clr))
    a = rng.uniform(0.0, 2.0 * pi)
    place = Placement((10.0, -20.0, 30.0), (cos(a), sin(a), 0.0), (0.0, 0.0, 1.0))
    return section, shop, BendTable(tuple(bends), rng.choice((ends["tail"], rng.uniform(size, 8.0 * size)))), place


def told(job: Job) -> dict[str, Any]:
    """What is cut, set and said of the only tube."""
    (tube,), (made,) = job.tubes, job.setups
    bends = tube.run.table.bends
    assert tube.section is not None
    steps = sorted(made.steps, key=lambda step: step.bend)
    return {
        "lengths": [
            *tube.run.table.straights,
            *(bend.clr or 0.0 for bend in bends),
            tube.section.od,
            tube.section.height,
            tube.section.wall,
            made.stick_length,
            made.extra_a,
            made.extra_b,
            *(made.mark_from("A", step) for step in steps),
        ],
        "angles": [
            *(bend.rotation for bend in bends),
            *(bend.angle for bend in bends),
            *(step.stop for step in steps),
            *(step.roll for step in steps),
        ],
        "words": [
            tube.section.shape,
            made.feed_from,
            [step.bend for step in made.steps],
            [step.die.name if step.die else None for step in steps],
            sorted({(f.code, f.severity, f.bend or 0) for f in job.findings if not f.code.startswith(_OF_READING)}),
        ],
    }


def _file(job: Job, road: Road, folder: Path) -> Path:
    if road.file == "kernel":
        (tube,) = job.tubes
        assert tube.section is not None
        into = BytesIO()
        write_step([StepItem(tube.name, tube_solid(tube.run, tube.section))], into, title="tube", assembly=False)
        (folder / "kernel.step").write_bytes(into.getvalue())
        return folder / "kernel.step"
    paths = write([job], folder / road.file, [road.file], WriteOptions(), force=True)
    (found,) = [path for path in paths if path.name.endswith(road.ending)]
    return found


def _turned(one: dict[str, Any], other: dict[str, Any]) -> bool:
    """Whether two answers begin at different ends: their straights are each other's, read backwards."""
    count = len(one["angles"]) // 4 + 1
    first, second = one["lengths"][:count], other["lengths"][:count]
    if len(one["lengths"]) != len(other["lengths"]):
        return False
    return max(abs(a - b) for a, b in zip(first, second, strict=True)) > 0.5


def road_misses(rng: Random, roads: tuple[str, ...] = tuple(ROADS)) -> dict[str, float]:
    """How far each road's answers are from the drawing's, as a part of what is allowed: at most 1; inf for words."""
    section, shop, bends, place = random_tube(rng)
    move = moved(rng.randint(1, 10**6), rng.choice((0.0, 1e3))) if rng.random() < 0.5 else Matrix44()
    found: dict[str, float] = {}
    with TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "shop.toml").write_text(shop)
        chosen = Settings(shop=str(folder / "shop.toml"), sections=(section,), metal="steel", unit="mm")
        drawing = open_job(str(draw(folder / "tube.dxf", {"TUBE": (bends, place)}, Drawn(move))), chosen)
        if any(finding.code.startswith(("joint-", "self-", "tube-")) for finding in drawing.findings):
            return road_misses(rng, roads)
        wanted = told(drawing)
        for key in roads:
            road = ROADS[key]
            if road.file in MESHES and section.startswith("flat-oval"):
                continue
            path = _file(drawing, road, folder)
            how = Settings(
                shop=chosen.shop,
                metal="steel",
                unit="mm",
                sections=(section,) if road.told else (),
                read=ReadOptions(units=road.unit),
            )
            read = open_job(str(path), how)
            if road.file in MESHES and any(one.code == "rebuild-deviation" for one in read.findings):
                found[f"{key} said to misfit"] = 1.0  # a table that is told not to be the tube's
                continue
            seen = told(read)
            if _turned(wanted, seen):
                seen = told(open_job(str(path), replace(how, reverse=True)))
            found |= {f"{key} {what}": part for what, part in _parts(wanted, seen, key).items()}
    return found


def _parts(one: dict[str, Any], other: dict[str, Any], key: str) -> dict[str, float]:
    road = ROADS[key]
    assert one["words"] == other["words"], (
        key,
        *((a, b) for a, b in zip(one["words"], other["words"], strict=True) if a != b),
    )
    lengths = max(abs(a - b) for a, b in zip(one["lengths"], other["lengths"], strict=True))
    angles = max(abs((a - b + 180.0) % 360.0 - 180.0) for a, b in zip(one["angles"], other["angles"], strict=True))
    return {"length": lengths / road.length, "angle": angles / road.angle}
