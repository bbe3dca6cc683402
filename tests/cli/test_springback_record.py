"""Test bends: what a shop file may not say of them, and recording them without touching the rest."""

import os
import stat
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from command_line import failed, files, run
from hypothesis import given
from hypothesis import strategies as st
from stage_kills import scenario

from converter.disk import lock
from converter.errors import ShopError
from converter.shop.load import demo_text, load_shop, shop_from_text
from converter.shop.test_bends import NewTest, rehearse, with_tests

BASE = """\
# my shop
units = "in"   # inches

[shop]
name = "shed"

[machine]
max_angle = 180

[[die]]
name = "A"     # the good one
od = 1.5
clr = 4.5
max_angle = 120

[[die]]
name = "S"
square = 1.5
clr = 6
"""
ONE = NewTest("A", "4130", "0.095", 93.0, 90.5)


def test_text(test):
    lines = [f"{key} = {value}" for key, value in test.items()]
    return BASE + "\n[[test]]\n" + "\n".join(lines) + "\n"


# --- what is refused ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("test", "told"),
    [
        ({"stop": 90, "angle": 95}, "test[1].angle is 95, more than the stop of 90"),
        ({"stop": 90, "angle": 0}, "test[1].angle must be"),
        ({"stop": 90, "angle": -5}, "test[1].angle must be"),
        ({"stop": 130, "angle": 120}, 'test[1].stop is 130, past the 120 degrees that the die "A" turns'),
        ({"stop": 200, "angle": 120, "die": '"S"'}, "test[1].stop is 200, past the 180 degrees that the machine turns"),
        ({"stop": 90, "angle": 88, "wall": 0}, "test[1].wall must be a length above zero"),
        ({"stop": 90, "angle": 88, "wall": 0.8}, "test[1].wall is 20.32 mm, over half of the 38.1 mm tube"),
        ({"stop": 90, "angle": 88, "metal": '"kryptonite"'}, 'test[1].metal names the metal "kryptonite", which'),
        ({"stop": 90, "angle": 88, "metal": '"4310"'}, "did you mean '4130'?"),
        ({"stop": 90, "angle": 88, "die": '"Z"'}, "test[1].die"),
    ],
)
def test_impossible_test_bends_are_named_with_their_key(test, told):
    with pytest.raises(ShopError) as caught:
        shop_from_text(test_text({"die": '"A"', **test}), "s.toml")
    assert told in caught.value.message
    assert caught.value.where.startswith("test[1].")


test_text.__test__ = False


def many(*rows, metal="4130"):
    return BASE + "".join(
        f'[[test]]\ndie = "A"\nmetal = "{metal}"\nstop = {stop}\nangle = {angle}\n' for stop, angle in rows
    )


def test_test_bends_that_go_backwards():
    with pytest.raises(ShopError) as caught:
        shop_from_text(many((60, 58), (95, 85), (90, 87)), "s.toml")
    assert caught.value.message == (
        "s.toml: test[2].angle goes backwards: set to 95 it came out at 85, though test[3], set to only 90, came out "
        "at 87."
    )
    assert caught.value.where == "test[2].angle"
    # readings half a degree apart are no contradiction, nor is another metal, nor the same stop twice
    assert len(shop_from_text(many((90, 87.4), (90.5, 87), (95, 92), (95, 90), (96, 91.6))).tests) == 5
    mixed = many((90, 87)) + many((95, 85), metal="304").replace(BASE, "")
    assert len(shop_from_text(mixed).tests) == 2
    # another name of the same metal is the same metal
    with pytest.raises(ShopError, match=r"test\[2\].angle goes backwards"):
        shop_from_text(many((90, 87)) + many((95, 85), metal="chromoly").replace(BASE, ""))


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        ('[[metal]]\nname = "m"\nyield_mpa = 400\ntensile_mpa = 300', "metal[1].tensile_mpa"),
        ('[[metal]]\nname = "m"\nyield_mpa = 60000', "metal[1].yield_mpa"),
        ('[[metal]]\nname = "m"\nmodulus_gpa = 29000', "metal[1].modulus_gpa"),
        ('[[metal]]\nname = "m"\nelongation = 0', "metal[1].elongation"),
        ('[[stock]]\nsection = "1.5x0.095"\nlength = 240\nmetal = "kryptonite"', "stock[1].metal"),
        ('[[stock]]\nsection = "1.5x0"\nlength = 240', "stock[1].section"),
        ('[[stock]]\nsection = "1.5x0.8"\nlength = 240', "stock[1].section"),
    ],
)
def test_contradictions_elsewhere(lines, told):
    with pytest.raises(ShopError) as caught:
        shop_from_text(BASE + lines, "s.toml")
    assert caught.value.where == told


def test_a_proven_metal_must_be_known():
    text = BASE.replace("max_angle = 180", 'max_angle = 180\nproven_section = "2x0.12"\nproven_metal = "moonrock"')
    with pytest.raises(ShopError, match=r"machine.proven_metal names the metal \"moonrock\""):
        shop_from_text(text)
    own = text + '[[metal]]\nname = "Moonrock"\nyield_mpa = 10\n'
    assert shop_from_text(own).machine.proven_metal == "moonrock"


# --- recording ----------------------------------------------------------------------------------------


def test_behind_the_last_test_and_before_what_follows():
    old = BASE + '[[test]]\ndie = "A"\nstop = 30 # first\nangle = 29\n\n# --- what lies on the rack\n[[stock]]\n'
    old += 'section = "1.5x0.095"\nlength = 240\n'
    new = with_tests(old, [ONE, NewTest("S", None, None, 40.0, 38.5, "3 1/2in")], "s.toml")
    added = (
        '\n[[test]]\ndie = "A"\nmetal = "4130"\nwall = 0.095\nstop = 93\nangle = 90.5\n'
        '\n[[test]]\ndie = "S"\nstop = 40\nangle = 38.5\nlength = "3 1/2in"\n'
    )
    at = old.index("angle = 29\n") + len("angle = 29\n")
    assert new == old[:at] + added + old[at:]


def test_at_the_end_when_there_are_none():
    for old in (BASE, BASE.rstrip("\n"), BASE + "\n\n", BASE + "# the end"):
        new = with_tests(old, [ONE], "s.toml")
        assert new.startswith(old)
        assert new.endswith('\n\n[[test]]\ndie = "A"\nmetal = "4130"\nwall = 0.095\nstop = 93\nangle = 90.5\n')
    crlf = BASE.replace("\n", "\r\n")
    new = with_tests(crlf, [ONE], "s.toml")
    assert new.startswith(crlf) and new.count("\r\n") == new.count("\n")


def test_a_name_that_needs_quoting_and_lines_that_look_like_tables():
    die = 'A "quoted" \\ ü'
    old = BASE.replace('name = "A"', "name = 'A \"quoted\" \\ ü'").replace(
        'name = "shed"', 'name = """shed\\\n   [[test]]\\\n"""'
    )
    new = with_tests(old, [NewTest(die, None, "2.4 mm", 50.0, 49.0)], "s.toml")
    shop = shop_from_text(new)
    assert shop.tests[0].die == die and shop.tests[0].wall == pytest.approx(2.4)
    assert tomllib.loads(new) == {
        **tomllib.loads(old),
        "test": [{"die": die, "wall": "2.4 mm", "stop": 50, "angle": 49}],
    }


def test_an_inline_list_is_refused_and_stays():
    old = 'test = [{ die = "A", stop = 30, angle = 29 }]\n' + BASE
    with pytest.raises(ShopError, match="write each test bend as a table of its own"):
        with_tests(old, [ONE], "s.toml")


comments = st.text(st.sampled_from("#[]\"' =ab\t"), max_size=20).map(lambda text: "# " + text)


pieces = st.sampled_from(
    [
        "",
        '[[test]]\ndie = "A"\nstop = 30\nangle = 29',
        "[[ test ]] # x\ndie='A'\nstop=9\nangle=8",
        '[[stock]]\nsection = "1.5x0.095"\nlength = 240',
        '[[metal]]\nname = "m{}"',
    ]
)


@given(st.lists(pieces | comments, max_size=8))
def test_every_line_of_the_file_stays(blocks):
    """Whatever the order of tables and comments: the old lines are there, in order, and only tests are new."""
    old = BASE + "\n".join(block.replace("{}", str(i)) for i, block in enumerate(blocks))
    new = with_tests(old, [ONE], "s.toml")
    rest = iter(new.splitlines())
    assert all(line in rest for line in old.splitlines())
    before, after = shop_from_text(old), shop_from_text(new)
    assert after.tests[:-1] == before.tests and after.tests[-1].stop == 93.0


# --- the command --------------------------------------------------------------------------------------


@pytest.fixture
def path(tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text(BASE)
    return file


def test_record_and_show(path, capsys):
    words = ["springback", path, "--die", "A", "--metal", "4130", "--wall", "0.095"]
    outcome = run(capsys, *words, "--record", "32:30", "--record", "95:90", "--record", "63.4:60:4.9")
    assert outcome.status == 0 and "Recorded 3 test bends" in outcome.err
    assert outcome.out.startswith("die A (1.500 in round, CLR 4.500 in), 1.500 x 0.095 in tube, 4130\n")
    assert "from 3 test bends" in outcome.out and "within 0.07°" in outcome.out
    assert "3.40°" in outcome.out and "+0.50" not in outcome.out
    shop = load_shop(path)
    assert [(t.stop, t.angle, t.metal) for t in shop.tests] == [(32, 30, "4130"), (95, 90, "4130"), (63.4, 60, "4130")]
    assert shop.tests[2].length == pytest.approx(124.46) and shop.tests[0].wall == pytest.approx(2.413)
    assert path.read_text().startswith(BASE)
    assert files(path.parent) == {"mine.toml", "mine.toml.before"}
    again = run(capsys, *words, "--show", "--quiet")
    assert (again.status, again.out, again.err) == (0, outcome.out, "")
    document = run(capsys, *words, "--target", "90", "--json").json
    assert document["schema"] == "elbowroom/springback/1"
    law = document["springback"]
    # least squares of (30, 32) (60, 63.4) (90, 95) by hand: slope 63/60, mean 63.4667 at 60
    assert (law["a"], law["b"]) == pytest.approx((63.0 + 7.0 / 15.0 - 63.0, 1.05))
    assert law["residual"] == pytest.approx(1.0 / 15.0)
    assert document["stop"] == pytest.approx(94.5 + 7.0 / 15.0)
    # a play of 0.4667 degrees bends nothing
    assert document["radius_out"] == pytest.approx(114.3 * 94.5 / 90.0)
    assert len(document["tests"]) == 3 and document["findings"] == [] and document["recorded"] == 0


def test_the_radius_beside_a_rounded_stop_is_that_of_the_rounded_stop(path, capsys):
    """Through (30, 30.5) and (90, 95) by hand: stop = -1.75 + 1.075 x angle, so 62.75 for 60, which is set to 63.

    63 comes out at 64.75/1.075 = 60.2326, its radius at 114.3 x 63/60.2326 = 119.55; that of 62.75 would be 119.54.
    """
    text = path.read_text()
    path.write_text(text.replace("max_angle = 180", "max_angle = 180\nstop_step = 1.0", 1))
    words = ["springback", path, "--die", "A", "--metal", "4130", "--wall", "0.095", "--mm"]
    run(capsys, *words, "--record", "30.5:30", "--record", "95:90:7.5")
    told = " ".join(run(capsys, *words, "--target", "60").out.split())
    assert "set the stop to 63.00°: it comes out at 60.23°, the radius at 119.55 mm." in told
    document = run(capsys, *words, "--target", "60", "--json").json
    assert (document["stop"], document["stop_set"]) == (pytest.approx(62.75), 63.0)
    assert document["comes_out"] == pytest.approx(64.75 / 1.075)
    assert document["radius_out"] == pytest.approx(114.3 * 63.0 / (64.75 / 1.075))
    # the count stands with the law, and not again; no length is "-1.00 % longer"
    assert told.count("2 test bends") == 1
    # 95 degrees at 114.3 are 189.52 mm, of 7.5 in of stick: 0.52 % shorter
    shown = " ".join(run(capsys, *words, "--show").out.split())
    assert "The arc comes out 0.52 % shorter than the stick it uses." in shown


def test_the_plot_shows_each_test_where_it_lies(path, capsys):
    """Springback 2 at 30, 5 at 90: the axis ends at 90 and 5, so the last point is in the upper right corner."""
    outcome = run(capsys, "springback", path, "--die", "A", "--record", "32:30", "--record", "95:90")
    rows = outcome.out[outcome.out.index("degrees sprung back\n") :].splitlines()[1:]
    assert rows[0].startswith("5 |") and rows[10].startswith("0 |") and rows[11].lstrip().startswith("+---")
    assert rows[0].index("o") == rows[0].index("|") + 56
    assert [row.index("o") - row.index("|") for row in rows if "o" in row.split("deg")[0]] == [56, 19]
    assert rows[6].count("o") == 1  # 2 of 5, eleven rows
    assert rows[12].strip().endswith("90 degrees that came out")


def test_a_bad_test_writes_nothing(path, capsys):
    before = path.read_bytes()
    for words in (
        ["--record", "90:95"], ["--record", "90"], ["--record", "a:b"], ["--record", "0:0"], ["--record", "130:120"],
        ["--record", "93:90", "--record", "100:80"], ["--record", "93:90:x"], ["--record", "93:90:0"],
        ["--record", "93:90", "--wall", "0.8"], ["--record", "93:90", "--wall", "0"],
        ["--record", "93:90", "--metal", "q"],
        ["--record", "93:90", "--target", "119"], ["--record", "93:90", "--resume", "85:80"], ["--record", "nan:90"],
        ["--record", "93:90", "--resume", "80:85", "--target", "90"], ["--record", "93:90", "--die", "Z"],
    ):  # fmt: skip
        sentence = failed(run(capsys, "springback", path, "--die", "A", *words))
        assert sentence
        assert path.read_bytes() == before, words
    assert files(path.parent) == {"mine.toml"}
    assert "--die is needed: the dies of 'shed' are 'A', 'S'" in failed(run(capsys, "springback", path))
    assert "not '-'" in failed(run(capsys, "springback", "-", "--die", "A"))
    assert "did you mean" not in failed(run(capsys, "springback", path, "--die", "A", "--metal", "kryptonite"))
    outcome = run(capsys, "springback", path, "--die", "A", "--metal", "4310", "--json")
    assert outcome.status == 2 and outcome.json["error"]["code"] == "unknown-metal"


def test_a_test_bend_that_names_less_than_those_beside_it_is_asked_for(path, capsys):
    words = ["springback", path, "--die", "A", "--record"]
    assert run(capsys, *words, "93:90", "--metal", "4130", "--wall", "0.095").status == 0
    before = path.read_bytes()
    told = "would not be used beside them: give"
    assert f"name their metal and wall, and one that does not {told} --metal and --wall." in failed(
        run(capsys, *words, "47:45")
    )
    assert f"name their wall, and one that does not {told} --wall." in failed(
        run(capsys, *words, "47:45", "--metal", "4130")
    )
    assert path.read_bytes() == before
    assert run(capsys, *words, "47:45", "--metal", "304", "--wall", "0.065").status == 0
    # another die has none yet
    assert run(capsys, "springback", path, "--die", "S", "--record", "93:90").status == 0


def test_resume(path, capsys):
    words = ["springback", path, "--die", "A", "--metal", "4130", "--wall", "0.095"]
    outcome = run(capsys, *words, "--resume", "84:80", "--target", "90", "--json")
    assert outcome.json["resume"]["stop"] == pytest.approx(94.5)
    assert outcome.json["springback"]["source"] == "estimate"
    assert [f["code"] for f in outcome.json["findings"]] == ["springback-estimate"]
    text = run(capsys, *words, "--resume", "95:92", "--target", "90").out
    assert "2.00° too far" in text and "0.349 in off for every 10 in" in " ".join(text.split())
    assert "past the 120° that the die 'A' turns" in failed(
        run(capsys, *words, "--resume", "115:110", "--target", "119")
    )
    assert "--resume needs --target" in failed(run(capsys, *words, "--resume", "84:80"))


def test_permissions_links_and_byte_marks_stay(tmp_path, capsys):
    real = tmp_path / "real.toml"
    real.write_bytes(b"\xef\xbb\xbf" + BASE.replace("\n", "\r\n").encode())
    real.chmod(0o640)
    link = tmp_path / "link.toml"
    link.symlink_to(real)
    assert run(capsys, "springback", link, "--die", "A", "--record", "93:90").status == 0
    assert link.is_symlink() and stat.S_IMODE(real.stat().st_mode) == 0o640
    data = real.read_bytes()
    assert data.startswith(b"\xef\xbb\xbf# my shop\r\n") and data.count(b"\n") == data.count(b"\r\n")
    assert files(tmp_path) == {"real.toml", "link.toml", "real.toml.before"}
    assert stat.S_IMODE((tmp_path / "real.toml.before").stat().st_mode) == 0o640


def test_a_file_that_cannot_be_replaced_stays(path, capsys, monkeypatch):
    before = path.read_bytes()

    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "replace", refuse)
    assert "it is as it was" in failed(run(capsys, "springback", path, "--die", "A", "--record", "93:90"))
    assert path.read_bytes() == before and files(path.parent) == {"mine.toml"}


def test_rehearsing_writes_nothing(path):
    before = path.read_bytes()
    assert len(rehearse(path, [ONE]).tests) == 1
    assert path.read_bytes() == before


def test_the_demo_shop_file_takes_test_bends():
    new = with_tests(demo_text(), [NewTest("R1750", "mild steel", "0.120", 93.0, 90.5)], "demo.toml")
    assert new.startswith(demo_text()) and shop_from_text(new).tests[0].wall == pytest.approx(3.048)


# --- several at once, and cut off -----------------------------------------------------------------------


def test_of_many_at_once_none_is_lost(path):
    stops = scenario("records_at_once", path, 20)
    assert stops == [50.0 + number for number in range(20)]
    assert files(path.parent) == {"mine.toml", "mine.toml.before"}
    assert len(load_shop(f"{path}.before").tests) == 19, "the one before the last"


@pytest.mark.slow
def test_of_six_commands_at_once_none_is_lost(path):
    words = [sys.executable, "-m", "converter", "springback", path, "--die", "A", "--record"]
    runs = [subprocess.Popen([*words, f"{60 + n}:{58 + n}"], stdout=subprocess.DEVNULL) for n in range(6)]
    assert [run.wait() for run in runs] == [0] * 6
    assert sorted(test.stop for test in load_shop(path).tests) == [60 + n for n in range(6)]


def test_killed_at_every_call_the_test_bend_is_there_or_not(path):
    came = scenario("every_call_of_recording", path)
    first = came.index(True)
    assert not any(came[:first]) and all(came[first:]) and first > 5 and len(came) - first > 5


def test_what_the_file_said_before_stays_beside_it(path, capsys):
    path.write_text(BASE)
    for number in range(3):
        before = path.read_bytes()
        outcome = run(capsys, "springback", path, "--die", "A", "--record", f"{60 + number}:{58 + number}")
        assert f"{path}.before says what it said before" in outcome.err
        assert Path(f"{path}.before").read_bytes() == before != path.read_bytes()
    assert files(path.parent) == {"mine.toml", "mine.toml.before"}


def test_a_file_that_another_run_holds_is_one_sentence(path, capsys, monkeypatch):
    monkeypatch.setattr(lock, "WAIT", 0.05)
    before = path.read_bytes()
    with lock.locked(path.parent):
        outcome = run(capsys, "springback", path, "--die", "A", "--record", "93:90")
    assert "is being written to by another elbowroom: it is as it was, try again" in failed(outcome)
    assert path.read_bytes() == before and files(path.parent) == {"mine.toml"}


def test_a_file_that_may_not_be_written_stays(path, capsys, monkeypatch):
    monkeypatch.setattr(os, "access", lambda *_: False)
    assert "may not be written to" in failed(run(capsys, "springback", path, "--die", "A", "--record", "93:90"))
    assert files(path.parent) == {"mine.toml"}
