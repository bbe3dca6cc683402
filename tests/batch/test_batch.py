"""A batch gives what single runs give, on any executor; what is done stays done."""

from __future__ import annotations

import json
import multiprocessing
import os
import shutil
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest
from command_line import corner, files, hook, run

from converter import Settings
from converter.batch import (
    AuditWork,
    ConvertWork,
    CutlistWork,
    DrawingVerdict,
    batch_items,
    find_drawings,
    work_through,
)
from converter.batch import record as records
from converter.batch.record import RECORD, read_record

TABLES = ConvertWork(("csv", "json"))
FORMATS = ("csv", "json", "dxf", "profile", "setup-csv", "svg")
SHOP = """units = "mm"
shop.name = "invented"
[[die]]
name = "R114"
od = 38.1
clr = 114.3
clamp = 50
tail = 40
"""
SETTINGS = Settings(sections=("1.5x0.120in",))


@pytest.fixture
def drawings(tmp_path, monkeypatch):
    """A folder with sound drawings, one that cannot be bent, two of one stem, and broken ones."""
    monkeypatch.chdir(tmp_path)
    Path("d/sub").mkdir(parents=True)
    hook(Path("d/rail.dxf"), radius=114.3)
    hook(Path("d/sub/rail.dxf"), radius=114.3, scale=1.5)
    hook(Path("d/tight.dxf"), radius=60.0)
    corner(Path("d/corner.dxf"))
    Path("d/rail.csv").write_text("feed,rotation,angle,clr\n100,0,90,114.3\n200,,,\n")
    Path("d/empty.dxf").write_bytes(b"")
    Path("d/torn.dxf").write_bytes(Path("d/rail.dxf").read_bytes()[:4000])
    Path("d/notes.step").write_text("no drawing at all")
    return tmp_path


def verdicts(executor, work, out=None, inputs=("d", "d/*.csv"), **given) -> dict[str, DrawingVerdict]:
    given.setdefault("settings", SETTINGS)
    items = batch_items(find_drawings(inputs, out).drawings, work, out=out, **given)
    found = {verdict.source: verdict for verdict in work_through(items, executor)}
    assert sorted(found) == sorted(item.source for item in items), "a drawing has no verdict"
    return found


def words(found: dict[str, DrawingVerdict]) -> dict[str, str]:
    return {source: verdict.word for source, verdict in found.items()}


#: What the fixture's drawings come to with the demo shop.
EXPECTED = {
    "d/corner.dxf": "warning", "d/empty.dxf": "failed", "d/notes.step": "failed", "d/rail.csv": "warning",
    "d/rail.dxf": "warning", "d/sub/rail.dxf": "warning", "d/tight.dxf": "error", "d/torn.dxf": "failed",
}  # fmt: skip


def test_convert_writes_what_single_runs_write(bays, drawings, capsys):
    found = verdicts(bays, ConvertWork(FORMATS), "out")
    assert words(found) == EXPECTED
    for source, verdict in found.items():
        place = Path("single", source.replace("/", "-"))
        options = ("--section", "1.5x0.120in", "--out", place)
        single = run(capsys, "convert", source, *options, "--to", ",".join(FORMATS), "--json")
        assert single.status == {"failed": 2, "error": 1}.get(verdict.word, 0)
        if verdict.failure is not None:
            assert single.json["error"]["message"] == verdict.failure.message
            assert single.json["error"]["code"] == verdict.failure.code
            assert not place.exists() and not Path("out", source.removeprefix("d/")).exists()
            continue
        told = [(f["severity"], f["code"], f["message"], f["cure"] or "") for f in single.json["findings"]]
        assert [(f.severity, f.code, f.message, f.cure) for f in verdict.findings] == told
        folder = Path("out", source.removeprefix("d/"))
        assert verdict.folder == str(folder)
        assert set(verdict.files) == files(place) == files(folder) - {RECORD}
        for name in files(place):
            assert (place / name).read_bytes() == (folder / name).read_bytes(), name


def test_audit_and_cutlist_write_what_single_runs_write(bays, drawings, capsys):
    Path("shop.toml").write_text(SHOP + "[[stock]]\nsection = '1.5 x 0.120in'\nlength = '20 ft'\n")
    settings = replace(SETTINGS, shop="shop.toml", clr="114.3mm")
    shop = ("--section", "1.5x0.120in", "--shop", "shop.toml", "--clr", "114.3mm")
    audited = verdicts(bays, AuditWork(), "audited", settings=settings)
    cut = verdicts(bays, CutlistWork(kinds=("csv", "json", "svg"), seconds=20.0), "cut", settings=settings)
    for source in ("d/rail.dxf", "d/corner.dxf", "d/tight.dxf"):
        inside = source.removeprefix("d/")
        single = run(capsys, "audit", source, *shop, "--json")
        (written,) = audited[source].files
        assert Path("audited", inside, written).read_text() == single.out
        assert (audited[source].word == "error") == (single.status == 1)
        single = run(capsys, "cutlist", source, *shop, "--out", Path("one", inside), "--to", "csv,json,svg", "--json")
        assert (cut[source].word == "error") == (single.status == 1)
        assert set(cut[source].files) == files(Path("one", inside))
        for name in cut[source].files:
            assert Path("cut", inside, name).read_bytes() == Path("one", inside, name).read_bytes(), name
        assert cut[source].cuts.pieces == sum(p["count"] for g in single.json["groups"] for p in g["pieces"])


@pytest.mark.slow
def test_a_pool_of_processes_gives_the_same(bays, drawings):
    """Processes that are spawned, so that they know nothing but what they are handed."""
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn")) as pool:
        found = verdicts(pool, TABLES, "pool")
    assert words(found) == EXPECTED
    verdicts(bays, TABLES, "local")
    assert_same("pool", "local")


@pytest.mark.slow
def test_dasks_executor_gives_the_same(bays, drawings):
    """A local cluster of two processes; any other cluster differs only in where they are."""
    from distributed import Client, LocalCluster

    with (
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None, local_directory="dask") as cluster,
        Client(cluster) as client,
        client.get_executor() as executor,
    ):
        found = verdicts(executor, TABLES, "dask-out")
    assert words(found) == EXPECTED
    verdicts(bays, TABLES, "local")
    assert_same("dask-out", "local")


def assert_same(one: str, other: str) -> None:
    assert files(Path(one)) == files(Path(other)) != set()
    for name in files(Path(one)) - {name for name in files(Path(one)) if name.endswith(RECORD)}:
        assert Path(one, name).read_bytes() == Path(other, name).read_bytes(), name


def test_an_executor_that_breaks_is_told_for_each_drawing_it_lost(drawings):
    class Broken(ThreadPoolExecutor):
        def submit(self, function, item):
            if item.source == "d/rail.dxf":
                raise RuntimeError("cannot schedule new futures after shutdown")
            return super().submit(lose, item)

    def lose(item):
        raise ConnectionError(f"the worker of {item.source} is gone")

    with Broken(2) as executor:
        found = verdicts(executor, AuditWork())
    assert set(words(found).values()) == {"failed"}
    assert {verdict.failure.code for verdict in found.values()} == {"lost"}
    assert "gave no answer for d/rail.dxf (RuntimeError: cannot schedule" in found["d/rail.dxf"].failure.message
    assert "ConnectionError: the worker of d/tight.dxf is gone" in found["d/tight.dxf"].failure.message


def test_what_is_no_longer_asked_for_is_not_begun(drawings):
    begun = []

    def work(item):
        begun.append(item.source)
        return DrawingVerdict(item.source)

    class One(ThreadPoolExecutor):
        def submit(self, function, item):
            return super().submit(work, item)

    items = batch_items(find_drawings(["d"]).drawings * 300, AuditWork())
    with One(1) as executor:
        left = work_through(items, executor)
        next(left)
        left.close()
    assert len(begun) < len(items)


# --- what is done stays done ---------------------------------------------------------------------


def redone(executor, work=TABLES, **given) -> set[str]:
    """Sources that were worked out again."""
    return {
        source
        for source, verdict in verdicts(executor, work, "out", **given).items()
        if not verdict.unchanged and verdict.failure is None
    }


SOUND = {source for source, word in EXPECTED.items() if word != "failed"}


def test_nothing_is_done_twice(bays, drawings):
    assert redone(bays) == SOUND
    before = {path: path.stat().st_mtime_ns for path in Path("out").rglob("*") if path.is_file()}
    again = verdicts(bays, TABLES, "out")
    assert {source for source, verdict in again.items() if verdict.unchanged} == SOUND
    assert words(again) == EXPECTED
    assert {path: path.stat().st_mtime_ns for path in Path("out").rglob("*") if path.is_file()} == before
    os.utime("d/rail.dxf")  # the time of a file says nothing
    assert redone(bays) == set()


def test_what_changed_is_done_again_and_nothing_else(bays, drawings):
    Path("shop.toml").write_text(SHOP)
    given = {"settings": replace(SETTINGS, shop="shop.toml")}
    assert redone(bays, **given) == SOUND
    hook(Path("d/rail.dxf"), radius=100.0)
    assert redone(bays, **given) == {"d/rail.dxf"}
    # 300 + 100 pi / 2 + 300
    assert ",757.079633," in Path("out/rail.dxf/rail.csv").read_text()
    Path("shop.toml").write_text(SHOP.replace("invented", "ours"))
    assert redone(bays, **given) == SOUND
    assert redone(bays) == SOUND  # other settings
    assert redone(bays, ConvertWork(("csv",))) == SOUND  # other formats
    assert redone(bays, ConvertWork(("csv",))) == set()
    assert redone(bays, ConvertWork(("csv",)), force=True) == SOUND


def test_another_program_does_all_again(bays, drawings, monkeypatch):
    (item,) = batch_items(find_drawings(["d/rail.dxf"]).drawings, ConvertWork(("csv",)), SETTINGS, out="out")
    list(work_through([item], bays))
    record = read_record(item.folder)
    assert record.holds(item)
    monkeypatch.setattr(records, "program_digest", lambda: "another version")
    assert not record.holds(item)


def test_a_file_that_somebody_changed_is_never_replaced_unasked(bays, drawings):
    assert redone(bays) == SOUND
    mine = Path("out/rail.dxf/rail.csv")
    mine.write_text("my own numbers")
    found = verdicts(bays, TABLES, "out")
    assert found["d/rail.dxf"].failure.code == "exists"
    assert "rail.csv' exists already: give --force" in found["d/rail.dxf"].failure.message
    assert mine.read_text() == "my own numbers"
    assert found["d/rail.dxf"].leftovers == ("rail.json",)
    assert {source for source, verdict in found.items() if verdict.unchanged} == SOUND - {"d/rail.dxf"}
    assert redone(bays, force=True) == SOUND
    assert mine.read_text() != "my own numbers"


def test_a_file_that_somebody_removed_is_written_again(bays, drawings):
    assert redone(bays) == SOUND
    Path("out/tight.dxf/tight.json").unlink()
    shutil.rmtree("out/corner.dxf")
    assert redone(bays) == {"d/tight.dxf", "d/corner.dxf"}


@pytest.mark.parametrize("text", ["", "{", "[]", "{}", '{"schema": "elbowroom/batch-record/1"}', "[" * 100_000])
def test_a_damaged_record_is_none(text, tmp_path):
    (tmp_path / RECORD).write_text(text)
    assert read_record(str(tmp_path)) is None


def test_a_record_that_lies_about_its_kind_is_none(bays, drawings):
    verdicts(bays, ConvertWork(("csv",)), "out", inputs=("d/rail.dxf",))
    path = Path("out/rail.dxf", RECORD)
    content = json.loads(path.read_text())
    for key, value in (("verdict", {}), ("verdict", []), ("inputs", []), ("outputs", 3), ("key", None)):
        path.write_text(json.dumps({**content, key: value}))
        record = read_record("out/rail.dxf")
        assert record is None or record.key is None


def test_of_a_drawing_that_breaks_the_old_files_stay_and_that_is_told(bays, drawings):
    assert redone(bays) == SOUND
    before = Path("out/rail.dxf/rail.csv").read_bytes()
    Path("d/rail.dxf").write_bytes(Path("d/rail.dxf").read_bytes()[:4000])
    found = verdicts(bays, TABLES, "out")["d/rail.dxf"]
    assert found.word == "failed" and set(found.leftovers) == {"rail.csv", "rail.json"}
    assert Path("out/rail.dxf/rail.csv").read_bytes() == before


def test_files_that_are_not_written_any_more_are_told(bays, drawings):
    assert redone(bays) == SOUND
    found = verdicts(bays, ConvertWork(("json",)), "out")["d/rail.dxf"]
    assert (found.files, found.leftovers) == (("rail.json",), ("rail.csv",))
    assert verdicts(bays, ConvertWork(("json",)), "out")["d/rail.dxf"].leftovers == ("rail.csv",)


def test_verdicts_survive_a_record(bays, drawings):
    first = verdicts(bays, CutlistWork(kinds=("csv",)), "out")
    again = verdicts(bays, CutlistWork(kinds=("csv",)), "out")
    for source in SOUND:
        assert again[source] == replace(first[source], unchanged=True, seconds=again[source].seconds)


def test_tubes_that_are_not_shown_write_nothing(bays, drawings):
    found = verdicts(bays, ConvertWork(("csv",)), "out", settings=replace(SETTINGS, runs=("TIGHT*", "tube")))
    assert found["d/rail.dxf"].runs == ("tube",) and found["d/rail.dxf"].word == "warning"
    found = verdicts(bays, ConvertWork(("csv",)), "none", settings=replace(SETTINGS, runs=("TIGHT*",)))
    assert found["d/rail.dxf"].word == "not shown" and not Path("none").exists()
