"""Which die bends a bend: one answer for audit, set-up, refit and table, also for sections that lie two ways."""

import json
from dataclasses import replace

from hypothesis import assume, given
from hypothesis import strategies as st
from tubes import run_of

from converter.audit.registry import audit
from converter.audit.subject import DieBench, Subject
from converter.bending.setup.setup import set_up
from converter.bending.split import die_to_buy
from converter.cli.main import main
from converter.model.run import Tube
from converter.model.section import Section
from converter.shop.assign import Assigner, die_names, seats
from converter.shop.job_file import JobFile, job_from_text
from converter.shop.model import Die, Shop

FLAT = Section("rectangular", 50.0, 2.0, 30.0, 4.0)
#: Grooves in the order a die's sizes are typed: what lies flat in the first two and on edge in the others.
DIES = (
    Die("flat 100", "rectangular", 50.0, 100.0, 30.0, between=40.0),
    Die("flat 150", "rectangular", 50.0, 150.0, 30.0, between=45.0),
    Die("edge 120", "rectangular", 30.0, 120.0, 50.0, between=60.0, max_angle=100.0),
    Die("edge 180", "rectangular", 30.0, 180.0, 50.0, between=65.0),
)
SHOP = Shop("shed", DIES, source="shed.toml")

bends = st.tuples(
    st.floats(80.0, 400.0),
    st.sampled_from([0.0, 90.0, 180.0, -90.0]),
    st.sampled_from([30.0, 90.0, 105.0]),
    st.sampled_from([100.0, 120.0, 140.0, 150.0, 180.0, None]),
)


@given(st.lists(bends, min_size=1, max_size=5), st.sampled_from([None, *(die.name for die in DIES)]), st.booleans())
def test_audit_set_up_and_refit_take_the_same_die(rows, named, refit):
    rows = [(feed, 0.0 if i == 0 else roll, angle, clr) for i, (feed, roll, angle, clr) in enumerate(rows)]
    job = JobFile() if named is None else job_from_text(f'[default]\ndie = "{named}"\n')
    run = run_of(rows, 400.0)
    corners = tuple(replace(bend, corner=bend.clr is None) for bend in run.table.bends)
    run = replace(run, table=replace(run.table, bends=corners))
    (tube,) = Assigner(SHOP, job, FLAT, refit=refit).tubes([run])
    lying = seats(tube, SHOP)
    subject = Subject.of(DieBench(SHOP), tube)
    assert [subject.die_at(i) for i in range(len(rows))] == [seat.die for seat in lying]
    assert all(seat.die is not None and seat.die.takes(FLAT, seat.turned) for seat in lying)
    for seat, (_, _, _, clr), bend in zip(lying, rows, tube.run.table.bends, strict=True):
        if clr is None or refit:  # a corner takes the radius of the die that it is bent on, and so does a refit
            assert bend.clr == seat.die.clr
        if any(die.clr == bend.clr and die.takes(FLAT, seat.turned) for die in DIES):
            assert seat.die.clr == bend.clr
    assume(min(tube.run.table.straights) >= 0.0)
    (setup,) = set_up([tube], SHOP)
    assert {step.bend: step.die for step in setup.steps} == {i: seat.die for i, seat in enumerate(lying, 1)}
    assert set(die_names(tube, SHOP)) == {step.die.name for step in setup.steps}


def test_a_refit_is_told_as_it_is_done():
    """Bend 2 of radius 140 lies on edge: the nearest die there is 120, whatever the tube's die is."""
    rows = [(200.0, 0.0, 90.0, 100.0), (300.0, 90.0, 90.0, 140.0)]
    (tube,) = Assigner(SHOP, default_section=FLAT).tubes([run_of(rows, 300.0)])
    assert tube.die == "flat 100" and not tube.findings
    (said,) = [one for one in audit([tube], SHOP) if one.code.startswith("radius-")]
    (done,) = Assigner(SHOP, default_section=FLAT, refit=True).tubes([run_of(rows, 300.0)])
    assert [bend.clr for bend in done.run.table.bends] == [100.0, 120.0]
    (refitted,) = [one for one in done.run.findings if one.code == "refit"]
    values = dict(said.value_pairs)
    assert values["moved"] == refitted.measured and "'edge 120'" in said.cure_in()
    # the tube's own die where its groove takes the bend, though another die is nearer
    rows = [(200.0, 0.0, 90.0, 100.0), (300.0, 0.0, 90.0, 140.0)]
    (tube,) = Assigner(SHOP, default_section=FLAT).tubes([run_of(rows, 300.0)])
    (said,) = [one for one in audit([tube], SHOP) if one.code.startswith("radius-")]
    (done,) = Assigner(SHOP, default_section=FLAT, refit=True).tubes([run_of(rows, 300.0)])
    assert [bend.clr for bend in done.run.table.bends] == [100.0, 100.0] and "'flat 100'" in said.cure_in()
    assert dict(said.value_pairs)["moved"] == next(one.measured for one in done.run.findings if one.code == "refit")


def test_no_one_die_is_to_be_bought_for_bends_that_lie_both_ways():
    both = Tube(run_of([(200.0, 0.0, 90.0, 77.0), (300.0, 90.0, 90.0, 77.0)], 300.0), FLAT)
    one_way = replace(both, run=run_of([(200.0, 0.0, 90.0, 77.0), (300.0, 180.0, 90.0, 77.0)], 300.0))
    assert die_to_buy([both], SHOP) == []
    assert [one.measured for one in die_to_buy([one_way], SHOP)] == [77.0]


def test_table_and_set_up_name_the_same_dies(tmp_path, capsys):
    shop = tmp_path / "shop.toml"
    sizes = [("flat 100", 50, 30, 100), ("edge 120", 30, 50, 120)]
    shop.write_text(
        'units = "mm"\n[shop]\nname = "shed"\n'
        + "".join(
            f'[[die]]\nname = "{name}"\nrectangle = [{width}, {height}]\nclr = {clr}\n'
            for name, width, height, clr in sizes
        ),
        encoding="utf-8",
    )
    table = tmp_path / "t.csv"
    table.write_text("feed_mm,rotation_deg,angle_deg,clr_mm\n200,0,90,100\n300,90,90,120\n300,,,\n", encoding="utf-8")
    asked = [str(table), "--shop", str(shop), "--section", "50x30x2mm"]
    assert main(["table", *asked]) == 0
    assert "dies flat 100 and edge 120" in " ".join(capsys.readouterr().out.split())
    assert main(["setup", *asked, "--json"]) == 0
    (tube,) = json.loads(capsys.readouterr().out)["tubes"]
    assert [bend["die"] for bend in tube["bends"]] == ["flat 100", "edge 120"]
