"""Set-ups and cut ends as CSV: the numbers of ``--json``, units in the names, cells that are no formula."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace

import pytest
from command_line import failed, run
from copes import straight
from frames import RAIL, RUNG, draw, hoop, rack
from jobs import job_of, write_job

from converter.errors import WriteError
from converter.exporters.data.cope_csv import cope_csv
from converter.exporters.data.cope_json import joint_value
from converter.exporters.data.setup_csv import setup_csv
from converter.exporters.data.setup_json import setup_document
from converter.exporters.data.table_csv import length_cells
from converter.model.run import Tube
from converter.model.section import Section
from converter.shop.load import demo_shop
from converter.shop.model import Die, HoleSaw, Machine, Shop, Trial
from converter.units import Display

DISPLAYS = [Display(), Display("in"), Display("in", 16)]
SHOP = Shop(
    "yard",
    (Die("R150, =old", "round", 44.45, 150.0, clamp=90.0, between=90.0, tail=50.0, mark_offset=12.0),),
    Machine(plane="horizontal", pivot_height=3000.0),
    tests=(Trial("R150, =old", None, None, 46.0, 45.0), Trial("R150, =old", None, None, 92.0, 90.0)),
    source=__file__,
    hole_saws=(HoleSaw(44.45, 60.0),),
)


def rows_of(text: str) -> list[dict[str, str]]:
    """Read by the standard library; every row is as long as the header."""
    assert text.endswith("\r\n") and "\n" not in text.replace("\r\n", "")
    header, *rows = csv.reader(io.StringIO(text, newline=""), strict=True)
    assert len(set(header)) == len(header) and all(len(row) == len(header) for row in rows)
    return [dict(zip(header, row, strict=True)) for row in rows]


def equal(row: dict[str, str], name: str, mm: float | None, display: Display) -> None:
    """A length of a row is that of the JSON, to half a millionth of its unit."""
    cell = row[f"{name}_{display.unit}"]
    if mm is None:
        assert cell == ""
        return
    k = 25.4 if display.unit == "in" else 1.0
    assert float(cell) == pytest.approx(mm / k, abs=5.0001e-7)
    assert re.fullmatch(r"-?\d+(\.\d{1,6})?", cell), "no digit that means nothing, no power of ten"
    assert (f"{name}_{display.unit}_fraction" in row) == bool(display.denominator)


@pytest.mark.parametrize("display", DISPLAYS, ids=["mm", "in", "16ths"])
@pytest.mark.parametrize("end", ["A", "B"])
def test_a_set_up_in_csv_is_that_in_json(display, end):
    job = job_of(rack(2), shop=SHOP, feed_from=end)
    rows = rows_of(setup_csv(job.setups, display))
    document = setup_document("", "", job.setups)
    assert sum(len(tube["bends"]) for tube in document["tubes"]) == 4
    told = iter(rows)
    for tube in document["tubes"]:
        row = next(told)
        assert (row["tube"], row["bend"], row["feed_from"]) == (tube["name"], "stick", tube["feed_from"])
        for name in ("stick_length", "developed_length", "extra_a", "extra_b", "cope_a", "cope_b"):
            equal(row, name, tube[name], display)
        assert row["coped"].split() == tube["coped"]
        assert row["can_be_held"] == ("yes" if tube["can_be_held"] else "no")
        for order, bend in enumerate(tube["bends"], 1):
            row = next(told)
            assert (row["tube"], row["bend"], row["order"]) == (tube["name"], str(bend["bend"]), str(order))
            assert row["die"].replace("'", "") == bend["die"]
            for name in ("mark", "mark_from_a", "mark_from_b", "start", "arc", "radius_out"):
                equal(row, name, bend[name], display)
            equal(row, "turn_arc", bend["roll_arc"], display)
            for cell, key in (
                ("target_angle_deg", "target_angle"), ("stop_angle_deg", "stop_angle"), ("turn_deg", "roll"),
                ("turn_so_far_deg", "roll_total"),
            ):  # fmt: skip
                assert float(row[cell]) == pytest.approx(bend[key], abs=5.0001e-7)
            assert row["springback_source"] == bend["springback_source"] == "tests"
            assert row["turn_seen_from_fed_end"] == bend["turn"]
            assert row["clamp_inverted"] == ("yes" if bend["clamp_inverted"] else "no")
    assert next(told, None) is None


@pytest.mark.parametrize("display", DISPLAYS, ids=["mm", "in", "16ths"])
def test_cut_ends_in_csv_are_those_in_json(display):
    slant = straight("SLANT", (100.0, 5.0, 0.0), (400.0, 5.0, 300.0), RUNG)
    rail = straight("RAIL", (-900.0, 0.0, 0.0), (900.0, 0.0, 0.0), RAIL)
    up = straight("UP", (900.0, 0.0, 0.0), (900.0, 0.0, 500.0), RAIL)
    job = job_of([slant, rail, up], shop=SHOP)
    rows = rows_of(cope_csv(job.joints, display))
    values = [joint_value(joint) for joint in job.joints]
    assert len(rows) == len(values) >= 3 and len({value["kind"] for value in values}) >= 2
    saws = 0
    for row, value in zip(rows, values, strict=True):
        assert (row["tube"], row["end"], row["kind"]) == (value["tube"], value["end"], value["kind"])
        assert row["mates"].split(" + ") == value["mates"]
        assert float(row["angle_deg"]) == pytest.approx(value["angle"], abs=5.0001e-7)
        for name in ("offset", "long_point", "short_point", "center_cut", "length_change", "straight", "gap"):
            equal(row, name, value[name], display)
        equal(row, "corner_gap", value["corner_gap"], display)
        angle, cell = value["saw_angle"], row["saw_angle_deg"]
        assert cell == "" if angle is None else float(cell) == pytest.approx(angle, abs=5.0001e-7)
        saw = value["hole_saw"]
        saws += saw is not None
        for name in ("size", "depth", "offset", "center", "center_to_center"):
            equal(row, f"hole_saw_{name}", saw and saw[name], display)
        for name in ("angle", "from_square"):
            cell = row[f"hole_saw_{name}_deg"]
            assert cell == "" if saw is None else float(cell) == pytest.approx(saw[name], abs=5.0001e-7)
        assert row["hole_saw_owned"] == ("" if saw is None else "yes" if saw["owned"] else "no")
        k = 25.4 if display.unit == "in" else 1.0
        for axis, mm in zip("xyz", value["node"], strict=True):
            assert float(row[f"node_{axis}_{display.unit}"]) == pytest.approx(mm / k, abs=5.0001e-7)
    assert 0 < saws < len(rows)
    assert {row["saw_angle_deg"] for row in rows} == {"", "45"}  # the corner of rail and upright


def test_stops_and_turns_as_set_stand_beside_the_exact_ones():
    steps = replace(SHOP, machine=replace(SHOP.machine, stop_step=7.0, turn_step=8.0))
    job = job_of(rack(2), shop=steps)
    rows = [row for row in rows_of(setup_csv(job.setups, Display())) if row["bend"] != "stick"]
    bends = [bend for tube in setup_document("", "", job.setups)["tubes"] for bend in tube["bends"]]
    assert len(rows) == len(bends) == 4
    for row, bend in zip(rows, bends, strict=True):
        for cell, key in (
            ("stop_set_deg", "stop_set"), ("comes_out_deg", "comes_out"), ("turn_set_deg", "turn_set"),
            ("turn_set_so_far_deg", "turn_set_total"),
        ):  # fmt: skip
            assert float(row[cell]) == pytest.approx(bend[key], abs=5.0001e-7)
        assert float(row["stop_set_deg"]) % 7.0 == 0.0 and float(row["turn_set_deg"]) % 8.0 == 0.0
        assert float(row["stop_angle_deg"]) == pytest.approx(bend["stop_angle"], abs=5.0001e-7) != bend["stop_set"]
    assert not {"stop_set_deg", "turn_set_deg"} & set(
        rows_of(setup_csv(job_of(rack(2), shop=SHOP).setups, Display()))[0]
    )


def test_a_square_end_in_the_list_of_cuts():
    box = Section("square", 50.0, 3.0, corner=6.0)
    rail = straight("RAIL", (-900.0, 0.0, 0.0), (900.0, 0.0, 0.0), box)
    job = job_of([rail, straight("POST", (0.0, 0.0, 0.0), (0.0, 0.0, 500.0), box)], shop=SHOP)
    (row,) = rows_of(cope_csv(job.joints, Display()))
    assert (row["kind"], row["saw_angle_deg"], row["corner_gap_mm"], row["hole_saw_size_mm"]) == (
        "square",
        "0",
        "6",
        "",
    )
    assert row["long_point_mm"] == row["short_point_mm"] == "25"


def test_by_hand():
    """Three decimals or none: 12 1/2 in is 317.5 mm; a third is cut at six; nothing is minus nothing."""
    assert length_cells(317.5, Display()) == ["317.5"]
    assert length_cells(317.5, Display("in", 16)) == ["12.5", "12 1/2"]
    assert length_cells(100.0 / 3.0, Display()) == ["33.333333"]
    assert length_cells(-1e-9, Display()) == ["0"]
    assert length_cells(None, Display("in", 16)) == ["", ""]


@pytest.mark.parametrize("name", ["=1+1", "+A", "-A", "@A", 'a "b", c', "x;=1", " =1", "ÅÄ\n=2"])
def test_no_cell_begins_a_formula(name):
    tubes = [hoop("H", 0.0, 0.0), straight("R", (-300.0, 0.0, 0.0), (300.0, 0.0, 0.0), RAIL)]
    tubes = [Tube(replace(tube.run, name=f"{name}{i}"), tube.section) for i, tube in enumerate(tubes)]
    job = job_of(tubes, shop=SHOP)
    for text in (setup_csv(job.setups, Display()), cope_csv(job.joints, Display())):
        for row in csv.reader(io.StringIO(text, newline=""), strict=True):
            for cell in row:
                parts = re.split(r"[;\n\t|]", cell)
                assert not any(re.match(r"""["'\s]*[=+@]""", part) and "'" not in part for part in parts), cell
                assert not re.match(r"-\D", cell)


def test_files_and_stdout_are_the_same(tmp_path, capsys):
    drawing = draw(rack(2), tmp_path / "frame.dxf")
    sizes = ("--section", "RAIL=44.45x3.048mm", "--section", "RUNG=38.1x2.413mm")
    run(capsys, "convert", drawing, *sizes, "--to", "setup-csv,cope-csv", "--out", tmp_path / "out")
    for command, name in (("setup", "frame-setup.csv"), ("cope", "frame-copes.csv")):
        done = run(capsys, command, drawing, *sizes, "--csv")
        assert done.out.encode() == (tmp_path / "out" / name).read_bytes()
        assert done.status == run(capsys, command, drawing, *sizes, "--json").status
        message = failed(run(capsys, command, drawing, *sizes, "--csv", "--quiet", "--verbose"))
        assert "contradict" in message
        both = run(capsys, command, drawing, *sizes, "--csv", "--json")
        assert both.status == 2 and "give one" in both.err
    copes = run(capsys, "cope", drawing, *sizes, "--to", "cope-csv", "--out", tmp_path / "copes")
    assert (tmp_path / "copes" / "frame-copes.csv").read_bytes() == (tmp_path / "out" / "frame-copes.csv").read_bytes()
    assert copes.status == 0


def test_a_job_without_joints_has_no_list_of_cuts(tmp_path):
    job = job_of([hoop("H", 0.0, 0.0)], shop=demo_shop())
    with pytest.raises(WriteError, match="there is no list of cuts") as caught:
        write_job(job, tmp_path / "out", ["cope-csv"])
    assert caught.value.code == "no-joints"
    assert len(rows_of(cope_csv(job.joints, Display()))) == 0
