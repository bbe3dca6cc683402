"""Run one case and say what became of it: read, refused, or a fault of ours."""

from __future__ import annotations

import io
import json
import os
import re
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from command_line import one_sentence
from wild import FuzzCase

#: Seconds of processor time that a small damaged file may take before it counts as a hang; a slow one is noted.
HANG_SECONDS = 30.0
SLOW_SECONDS = 6.0
#: Seconds of processor time after which a command is ended.
_COMMAND_SECONDS = 60
#: Characters of a message on stderr.
LONGEST_MESSAGE = 900

_NO_NUMBER = re.compile(r"(?<![\w.\\/'-])-?(?:nan|inf)(?![\w.'])")


@dataclass(frozen=True)
class FuzzVerdict:
    """What became of a case.

    Attributes:
        kind: ``read`` (exit status 0 or 1), ``refused`` (2, with one sentence), ``crash`` (the same, for a library took
            the process that worked with it), or ``fault``.
        why: of a fault what is wrong; of a refusal the sentence.
        seconds: processor time.
    """

    kind: str
    why: str
    seconds: float


def laid_out(case: FuzzCase, folder: Path) -> tuple[list[str], Path]:
    """Write a case's files into an empty folder; its words with their names, and the folder for results."""
    out = folder / "out"
    names = []
    for name, data in case.files:
        path = folder / name
        path.write_bytes(data)
        names.append(str(path))
    shown = {str(i): "-" if case.piped == i else name for i, name in enumerate(names)} | {"out": str(out)}
    return [re.sub(r"\{(\d|out)\}", lambda m: shown[m[1]], word) for word in case.words], out


def judged(case: FuzzCase, folder: Path) -> FuzzVerdict:
    """Run a case in this process. The folder is emptied before and after."""
    from converter.cli.main import main

    words, out = laid_out(case, _emptied(folder))
    data = b"" if case.piped is None else case.files[case.piped][1]
    streams, before = (sys.stdin, sys.stdout, sys.stderr), tempfile.tempdir
    tempfile.tempdir = str(_emptied(_temporary(folder)))
    sys.stdin = io.TextIOWrapper(io.BytesIO(data), encoding="utf-8")
    sys.stdout, sys.stderr = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", newline="") for _ in range(2))
    began = time.process_time()
    status: int | BaseException
    try:
        status = main(words)
    except BaseException as error:  # whatever it is, nothing may come through
        status = error
    texts = []
    for stream in (sys.stdout, sys.stderr):
        stream.flush()
        texts.append(stream.buffer.getvalue().decode("utf-8", "backslashreplace"))
    (sys.stdin, sys.stdout, sys.stderr), tempfile.tempdir = streams, before
    seconds = time.process_time() - began
    if isinstance(status, BaseException):
        return FuzzVerdict("fault", f"{type(status).__name__} came through main: {status}", seconds)
    return _verdict(case, words, status, texts[0], texts[1], folder, out, seconds)


def judged_by_command(case: FuzzCase, folder: Path) -> FuzzVerdict:
    """Run a case as a person would, by the installed command in processes of its own."""
    words, out = laid_out(case, _emptied(folder))
    data = b"" if case.piped is None else case.files[case.piped][1]
    before = os.times()
    command = [str(Path(sys.prefix) / "bin" / "elbowroom"), *(_sayable(word) for word in words)]
    given = os.environ | {"TMPDIR": str(_emptied(_temporary(folder)))}
    try:
        done = subprocess.run(
            command, input=data, capture_output=True, timeout=600, check=False, cwd=folder, env=given, preexec_fn=_limit
        )
    except subprocess.TimeoutExpired:
        return FuzzVerdict("fault", "it did not come to an end in ten minutes", 600.0)
    after = os.times()
    seconds = (after.children_user - before.children_user) + (after.children_system - before.children_system)
    texts = [text.decode("utf-8", "backslashreplace") for text in (done.stdout, done.stderr)]
    return _verdict(case, words, done.returncode, texts[0], texts[1], folder, out, seconds)


def _limit() -> None:
    resource.setrlimit(resource.RLIMIT_CPU, (_COMMAND_SECONDS, _COMMAND_SECONDS))


def _temporary(folder: Path) -> Path:
    """The folder for temporary files of cases that are laid out in a folder."""
    return folder.with_name(f"{folder.name}-temporary")


def _sayable(word: str) -> str:
    """The word as a shell can hand it over: no null character."""
    return os.fsdecode(word.replace("\0", "\u2400").encode("utf-8", "surrogateescape" if _escaped(word) else "replace"))


def _escaped(word: str) -> bool:
    try:
        word.encode("utf-8", "surrogateescape")
    except UnicodeEncodeError:
        return False
    return True


def _emptied(folder: Path) -> Path:
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    return folder


def _verdict(
    case: FuzzCase, words: list[str], status: int, out: str, err: str, folder: Path, target: Path, seconds: float
) -> FuzzVerdict:
    try:
        said = _checked(case, words, status, out, err)
        _files_checked(case, status, out, folder, target)
    except AssertionError as error:
        return FuzzVerdict("fault", str(error)[:2000], seconds)
    if seconds > SLOW_SECONDS:
        return FuzzVerdict("fault", f"slow: {seconds:.1f} s of processor time", seconds)
    kind = "crash" if "crashed a library" in said else "refused" if status == 2 else "read"
    return FuzzVerdict(kind, said, seconds)


def _checked(case: FuzzCase, words: list[str], status: int, out: str, err: str) -> str:
    """What was said holds to its form; the sentence of a refusal."""
    assert status in (0, 1, 2), f"exit status {status}; stderr: {err[:500]}"
    assert "Traceback" not in err and "Something went wrong inside" not in err, err[:1000]
    as_json = "--json" in words
    document: Any = None
    if as_json and (out or status != 2):
        try:
            document = json.loads(out, parse_constant=_refuse_constant)
        except ValueError as error:
            raise AssertionError(f"stdout is no JSON ({error}): {out[:300]!r}") from error
        out.encode("utf-8")
    if status == 2 and not _is_batch(case):
        sentence = one_sentence(err.replace("None", "_") if holds(case, "None") else err)
        assert len(err) < LONGEST_MESSAGE, f"a message of {len(err)} characters: {err[:300]}"
        assert not _is_of_library(sentence), sentence
        if as_json:
            assert document is None or set(document) >= {"error"}, f"no error document: {out[:300]}"
        else:
            assert out == "", f"stdout of a failure: {out[:300]!r}"
        return sentence
    if _only_reads(case) and status != 2:
        assert err == "", f"beside the answer stands on stderr: {err[:500]!r}"
    if not holds(case, "nan") and not holds(case, "inf"):
        found = _NO_NUMBER.search(out) or _NO_NUMBER.search(err)
        assert found is None, (
            f"'{found and found[0]}' stands in the answer: {(out + err)[max(0, found.start() - 80) :][:200]!r}"
        )
    for number in _numbers(document):
        assert abs(number) < 1e15 or isinstance(number, int), f"a number of {number} stands in the answer"
    return ""


def holds(case: FuzzCase, word: str) -> bool:
    """Whether the case itself brings a word, in any case, so that it may stand in the answer."""
    texts = [*case.words, *(text for _, data in case.files for text in _as_text(data))]
    return any(word.lower() in text.lower() for text in texts)


#: Characters written as escapes, in JSON and TOML, in DXF, and in STEP.
_HEX = "[0-9A-Fa-f]"
_ESCAPES = re.compile(rf"\\u({_HEX}{{4}})|\\U\+({_HEX}{{4}})|\\U({_HEX}{{8}})|\\X2\\({_HEX}{{4}})")


def _as_text(data: bytes) -> list[str]:
    """What a file says in the encodings that readers know, escapes resolved, without characters that no one sees."""
    texts = []
    for encoding in ("utf-8", "utf-16-le", "utf-16-be", "utf-32-le"):
        text = _ESCAPES.sub(lambda m: chr(min(int(m[m.lastindex], 16), 0x10FFFF)), data.decode(encoding, "ignore"))
        texts.append("".join(c for c in text if c.isprintable() or c.isspace()))
    return texts


def _is_of_library(sentence: str) -> bool:
    """Whether it has a library's words: its class names, its file names, its calls."""
    return bool(
        re.search(r"object has no attribute|\.py\b|not subscriptable|unsupported operand|list index|KeyError", sentence)
    )


def _refuse_constant(text: str) -> float:
    raise ValueError(f"it holds {text}")


def _numbers(value: Any) -> list[float]:
    found, todo = [], [value]
    while todo:
        one = todo.pop()
        if isinstance(one, dict):
            todo.extend(one.values())
        elif isinstance(one, list):
            todo.extend(one)
        elif isinstance(one, float):
            found.append(one)
    return found


def _files_checked(case: FuzzCase, status: int, out: str, folder: Path, target: Path) -> None:
    """Inputs are as they were; results are there whole, or not at all; nothing else is, nor anything temporary."""
    left = [str(path.relative_to(_temporary(folder))) for path in _temporary(folder).rglob("*")]
    assert not left, f"left in the temporary folder: {left[:5]}"
    for name, data in case.files:
        path = folder / name
        assert path.is_file(), f"{name} is gone"
        if not _writes_inputs(case):
            assert path.read_bytes() == data, f"{name} was written over"
    asked = "{out}" in " ".join(case.words)
    left = {path.name for path in folder.iterdir()} - {name for name, _ in case.files} - {"out"}
    left = {name for name in left if not name.endswith(".before")} if _writes_inputs(case) else left
    assert not left, f"left behind: {sorted(left)}"
    if not target.exists():
        # pieces are written where there are any
        assert not asked or status == 2 or case.words[0] == "split", "no results, and no refusal"
        return
    assert asked and (status != 2 or _is_batch(case)), f"results of a failure: {[p.name for p in target.iterdir()][:5]}"
    written = list(target.rglob("*"))
    assert written, "an empty folder of results"
    for path in written:
        assert not path.name.startswith("."), f"{path.name} was left behind"
        if path.is_dir():
            assert any(path.iterdir()), f"{path.name} is empty"
            continue
        assert path.stat().st_size > 0, f"{path.name} is empty"
        if path.suffix == ".json":
            json.loads(path.read_bytes(), parse_constant=_refuse_constant)
        elif path.suffix in (".csv", ".svg", ".html", ".dxf"):
            path.read_bytes().decode("utf-8")


def _only_reads(case: FuzzCase) -> bool:
    """Whether all there is to say goes to stdout: what writes, or answers with rows alone, tells the rest on stderr."""
    line = " ".join(case.words)
    return case.words[0] in ("table", "audit", "setup", "cope") and "{out}" not in line and "--csv" not in line


def _is_batch(case: FuzzCase) -> bool:
    """Whether drawings stand each for itself, so that one fails and others are written."""
    return "--each" in case.words


def _writes_inputs(case: FuzzCase) -> bool:
    return bool({"--take", "--put-back", "--learn", "--record"} & set(case.words))
