"""A frame told in other ways: every number of every answer stays, from the table to copes, cutting list, quotation.

Which end of a tube is A may follow where it lies; turned round by a job file, it must be the same tube again. In a
mirror rotations and angles around a tube change their sign; of another size every length does, and no angle.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from math import pi
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from command_line import run
from drawn import Drawn, draw, moved
from every_answer import (
    COMMANDS,
    IN_A_MIRROR,
    Answers,
    every_answer,
    on_paper,
    on_screen,
    same_lists,
    same_sheets,
    same_texts,
)
from ezdxf.math import Matrix44, Vec3
from frames_told import frame, frame_shop, sections

from converter.job import open_job
from converter.settings import Settings

#: What tells where a tube lies, how it was read, or in words; what counts from a zero line is compared apart.
PLACES = {
    "source", "sources", "inputs", "message", "cure", "at", "start", "end_point", "node", "direction", "zero",
    "zero_direction", "layer", "handle", "profile", "outline", "clock", "deviation", "drawing_units", "read_as", "shop",
    "parts", "part", "quantity", "turned", "patterns", "pieces", "mirror_of", "mirror_turned", "unpriced",
}  # fmt: skip
#: Of a mirror image: their signs change, or what they name does.
SIGNED = {"rotation", "roll", "roll_arc", "roll_total", "turn", "turn_set", "turn_set_total", "long_points_apart"}


def words_of(folder: Path, how: Drawn, scale: float = 1.0, job: str = "") -> tuple[str, Settings]:
    """The frame, its shop and its job file are written: the drawing, and what is chosen for it."""
    (folder / "shop.toml").write_text(frame_shop(scale))
    (folder / "job.toml").write_text(job)
    drawing = draw(folder / "frame.dxf", frame(), how)
    chosen = Settings(
        sections=tuple(sections(how, scale)), metal="steel", unit="mm", shop=str(folder / "shop.toml"),
        job=str(folder / "job.toml") if job else None,
    )  # fmt: skip
    return str(drawing), chosen


def answers(folder: Path, how: Drawn, scale: float = 1.0, job: str = "") -> Answers:
    """Every answer on the frame as it is drawn; it is read once."""
    return every_answer(open_job(*words_of(folder, how, scale, job)))


def as_before(plain: Answers, folder: Path, how: Drawn, scale: float = 1.0) -> Answers:
    """The answers, with each tube turned round whose ends have changed names."""
    job = open_job(*words_of(folder, how, scale))
    starts = {tube.name: tube.run.placement.start for tube in job.tubes}
    turned = [
        tube["name"]
        for tube in plain.documents["table"]["tubes"]
        if Vec3(starts[tube["name"]]).distance(how.move.transform(Vec3(tube["start"]))) > 5.0
    ]
    if not turned:
        return every_answer(job)
    return answers(folder, how, scale, "".join(f'[run."{name}"]\nreverse = true\n' for name in turned))


@pytest.fixture(scope="module")
def made_so_far() -> dict[tuple[str, ...], Answers]:
    return {}


@pytest.fixture
def plain(made_so_far, tmp_path_factory):
    """The answers on the frame as it stands, without some tubes; worked out once."""

    def of(without: tuple[str, ...] = ()) -> Answers:
        if without not in made_so_far:
            made_so_far[without] = answers(tmp_path_factory.mktemp("plain"), Drawn(without=without))
        return made_so_far[without]

    return of


def in_order(rows: list[Any]) -> list[Any]:
    """Rows by what names them, not by the order they were drawn in."""
    if rows and isinstance(rows[0], dict):
        keys = ("code", "tube", "name", "end", "bend", "through")

        def order(row: Any) -> list[Any]:
            section = row.get("section") or {}
            return [
                *(str(row.get(key)) for key in keys),
                row.get("from_a") or 0.0,
                section.get("od") or 0.0,
                str(section),
            ]

        return sorted(rows, key=order)
    return rows


def same(one: Any, other: Any, within: float, place: str = "", signless: bool = False) -> None:
    """Two answers, number by number."""
    if isinstance(one, dict):
        assert one.keys() == other.keys(), place
        for key in one.keys() - PLACES:
            if key == "end" and isinstance(one[key], list):
                continue
            if key in SIGNED and signless:
                if isinstance(one[key], float):
                    assert (
                        abs(abs(one[key]) - abs(other[key])) <= within or abs(one[key] + other[key] - 360.0) <= within
                    ), f"{place}.{key}"
                continue
            same(one[key], other[key], within, f"{place}.{key}", signless)
    elif isinstance(one, list):
        assert len(one) == len(other), (place, one, other)
        for i, (a, b) in enumerate(zip(in_order(one), in_order(other), strict=True)):
            same(a, b, within, f"{place}[{i}]", signless)
    elif isinstance(one, float) or isinstance(other, float):
        # the length of weld is the integral of a curve, taken from wherever the curve begins
        assert one == pytest.approx(other, abs=within, rel=1e-6 if place.endswith("weld") else 1e-9), place
    else:
        assert one == other, place


def same_outlines(one: Any, other: Any, within: float, mirrored: bool = False) -> None:
    """Profiles of copes and outlines of holes, around the tube from a zero line that may be another of equal ones."""
    for key, rows in (("joints", "profile"), ("holes", "outline")):
        for a, b in zip(in_order(one["cope"][key]), in_order(other["cope"][key]), strict=True):
            if rows == "profile":
                curves = [np.array([r[1:] for r in sorted(j[rows]) if r[0] * 2.0 % 1.0 == 0.0]) for j in (a, b)]
                second = np.roll(curves[1][::-1], 1, axis=0) if mirrored else curves[1]
                off = min(float(np.abs(np.roll(second, k, axis=0) - curves[0]).max()) for k in range(len(second)))
            else:
                along = [np.array([r[1] for r in h[rows]]) - h["from_a"] for h in (a, b)]
                off = float(np.abs(np.sort(along[0]) - np.sort(along[1])).max())
            # along a flat many points are the long one: its zero line may be another, off the steps of the profile
            allowed = 0.25 if a.get("kind") == "mitre" else within
            assert off <= allowed, (a["tube"], rows, off)


def pieces_of(found: Any) -> Any:
    """What is cut: lengths, counts, angles; names and order go by the drawing's order."""
    return [
        sorted(
            (round(p["length"], 3), p["count"], sorted(round(v, 3) for v in p["saw_angles"].values()))
            for p in g["pieces"]
        )
        for g in sorted(found["cutlist"]["groups"], key=lambda g: json.dumps(g["section"]))
    ]


STRAIGHT_FLATS = ("SILL", "HEAD")
WAYS: dict[str, tuple[Drawn, float]] = {
    "moved": (Drawn(moved(1, 1e4), without=STRAIGHT_FLATS), 1e-5),
    "far away": (Drawn(moved(2, 1e7), without=STRAIGHT_FLATS), 1e-3),
    "only shifted, far away": (Drawn(Matrix44.translate(1e7, -1e7, 1e7)), 1e-3),
    "a quarter turn": (Drawn(Matrix44.z_rotate(pi / 2.0) @ Matrix44.translate(10.0, 20.0, 30.0)), 1e-5),
    "in inches": (Drawn(unit=1), 1e-6),
    "in metres": (Drawn(unit=6), 1e-6),
    "cut": (Drawn(cut=3), 1e-6),
    "shuffled": (Drawn(shuffled=7), 1e-6),
    "backwards": (Drawn(backwards=True), 1e-5),
    "all at once": (Drawn(moved(3, 1e4), unit=1, cut=2, shuffled=5, without=STRAIGHT_FLATS), 1e-5),
}


@pytest.mark.slow
@pytest.mark.parametrize("command", COMMANDS)
def test_the_commands_say_what_is_compared_here(command, plain, tmp_path, capsys):
    """One reading serves all of them; each alone says the same, but for the name of its drawing."""
    drawing, chosen = words_of(tmp_path, Drawn())
    given = [word for one in chosen.sections for word in ("--section", one)]
    said = run(capsys, command, drawing, "--shop", chosen.shop, *given, "--metal", "steel", "--json", "--mm")
    same(plain().documents[command], said.json, 0.0, command)


@pytest.mark.slow
@pytest.mark.parametrize("way", WAYS)
def test_the_frame_drawn_otherwise_has_the_same_answers(way, plain, tmp_path):
    how, within = WAYS[way]
    drawn = plain(how.without)
    other = as_before(drawn, tmp_path, how)
    for command in COMMANDS:
        same(drawn.documents[command], other.documents[command], within, command)
    same_outlines(drawn.documents, other.documents, max(within, 1e-5))
    same_lists(drawn.lists, other.lists, within, how.move)
    same_sheets(drawn.sheet, other.sheet, within)
    assert pieces_of(drawn.documents) == pieces_of(other.documents)


@pytest.mark.slow
def test_the_sheet_on_screen_and_paper_has_the_same_texts(tmp_path):
    """Pictures show a frame from where it stands, so this one is not turned."""
    plain = open_job(*words_of(tmp_path, Drawn()))
    screen, paper = on_screen(plain), on_paper(plain)
    for way in ("only shifted, far away", "in inches", "cut"):
        how, within = WAYS[way]
        other = open_job(*words_of(tmp_path, how))
        same_texts(screen, on_screen(other), within)
        same_texts(paper, on_paper(other), within)


@pytest.mark.slow
def test_in_a_mirror_what_turns_turns_the_other_way_and_no_length_changes(plain, tmp_path):
    mirror = Matrix44.scale(-1.0, 1.0, 1.0) @ moved(4, 1e4)
    plain = plain(STRAIGHT_FLATS)
    other = as_before(plain, tmp_path, Drawn(mirror, without=STRAIGHT_FLATS))
    for command in COMMANDS:
        same(plain.documents[command], other.documents[command], 1e-5, command, signless=True)
    same_outlines(plain.documents, other.documents, 1e-5, mirrored=True)
    same_lists(plain.lists, other.lists, 1e-5, mirror, IN_A_MIRROR)
    same_sheets(plain.sheet, other.sheet, 1e-5, IN_A_MIRROR)
    assert pieces_of(plain.documents) == pieces_of(other.documents)
    rotations = [
        [bend["rotation"] for tube in in_order(found["table"]["tubes"]) for bend in tube["bends"]]
        for found in (plain.documents, other.documents)
    ]
    for a, b in zip(*rotations, strict=True):
        assert (a + b + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1e-5)


@pytest.mark.slow
def test_twice_as_large_every_length_is_and_no_angle(plain, tmp_path):
    """Drawing, sections, dies, saws and bars alike; each kind of number keeps one power of the size."""
    plain = plain()
    other = as_before(plain, tmp_path, Drawn(Matrix44.scale(2.0, 2.0, 2.0)), 2.0)
    powers: dict[str, set[int]] = {}
    for command in ("table", "setup", "cope", "cutlist"):
        # the stop of the saw is rounded up to 0.01 mm at either size, for each piece of a bar
        within = 0.05 if command == "cutlist" else 1e-6
        for key, a, b in numbers(plain.documents[command], other.documents[command]):
            if abs(a) > within:
                fits = [n for n in range(4) if b == pytest.approx(a * 2.0**n, rel=1e-7, abs=within)]
                assert len(fits) == 1, (command, key, a, b)
                powers.setdefault(f"{command} {key}", set()).add(fits[0])
    assert all(len(each) == 1 for each in powers.values()), {k: v for k, v in powers.items() if len(v) > 1}
    assert powers["table feed"] == powers["cope long_point"] == powers["cutlist length"] == {1}
    assert powers["table angle"] == powers["cope angle"] == {0} and powers["cutlist mass_bought"] == {3}


def numbers(one: Any, other: Any, key: str = "") -> Iterable[tuple[str, float, float]]:
    """(what it is, the one, the other) of every number but places, counts, and room, which is searched to 0.5 mm."""
    if isinstance(one, dict):
        for name in (
            one.keys()
            - PLACES
            - {"findings", "saw", "gap", "clearance", "end" if isinstance(one.get("end"), list) else ""}
        ):
            yield from numbers(one[name], other[name], name)
    elif isinstance(one, list):
        assert len(one) == len(other)
        for a, b in zip(in_order(one), in_order(other), strict=True):
            yield from numbers(a, b, key)
    elif isinstance(one, float):
        yield key, one, other


@pytest.mark.slow
@pytest.mark.parametrize("prefix", ["T", "Lage 7 / ", "'"])
def test_layers_of_other_names_give_tubes_of_other_names_and_the_same_numbers(prefix, plain, tmp_path):
    plain = plain()
    how = Drawn(layer=lambda name: prefix.replace("/", "-") + name)
    text = json.dumps(answers(tmp_path, how).documents)
    other = json.loads(text.replace('"' + prefix.replace("/", "-"), '"'))
    for command in COMMANDS:
        same(plain.documents[command], other[command], 1e-6, command)


@pytest.mark.slow
def test_tubes_of_one_section_on_one_layer_are_the_same_tubes(plain, tmp_path):
    """Names are given by the layer then; what is cut, and how, is not."""
    plain = plain()
    of_section = {"ARM-L": "BRACE", "ARM-R": "BRACE", "BAR": "SPOKE"}  # lines that meet on one layer are one tube
    other = answers(tmp_path, Drawn(layer=lambda name: of_section.get(name, name)))
    keys = ("kind", "angle", "offset", "long_point", "short_point", "length_change", "center_cut", "straight")
    joints = [
        sorted(
            tuple(j[k] if isinstance(j[k], str) else round(j[k], 5) + 0.0 for k in keys) for j in f["cope"]["joints"]
        )
        for f in (plain.documents, other.documents)
    ]
    assert joints[0] == joints[1]
    assert pieces_of(plain.documents) == pieces_of(other.documents)
    same(plain.documents["quote"]["total"], other.documents["quote"]["total"], 1e-6)
    said = [
        sorted((f["code"], round(f["measured"] or 0.0, 5)) for f in one["audit"]["findings"])
        for one in (plain.documents, other.documents)
    ]
    assert said[0] == said[1]


@pytest.mark.parametrize(
    ("one", "other", "same_"),
    [
        ("long point 12.34 mm, 3-5/16 in", "long point 12.35 mm, 3-3/8 in", True),
        ("long point 12.34 mm", "long point 12.36 mm", False),
        ("3-5/16 in", "3-7/16 in", False),
        ("short point 12.34 mm", "long point 12.34 mm", False),
        ("bend 2 of (1.00, 2.00) mm", "bend 3 of (1.00, 2.00) mm", False),
        ("at (1.00, 2.00, 3.00) mm", "at (-7.00, 2.50, 3.00) mm", True),
    ],
)
def test_a_step_of_rounding_is_the_same_text_and_no_more_is(one, other, same_):
    many = ["12.34 mm"] * 200  # few of all may be rounded the other way
    if same_:
        same_texts([*many, one], [*many, other], 1e-6)
    else:
        with pytest.raises(AssertionError):
            same_texts([*many, one], [*many, other], 1e-6)
