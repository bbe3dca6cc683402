"""The house keeps its shape: imports point one way, libraries stay where they belong, start-up stays light.

Everything here walks syntax trees or measures a fresh interpreter, so that a slip fails here
and not in somebody's hands.
"""

from __future__ import annotations

import ast
import json
import re
import subprocess
import sys
import tomllib
from collections.abc import Collection, Mapping
from fnmatch import fnmatch
from functools import cache
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from places import ROOT

PACKAGE = ROOT / "converter"
MODULES = sorted(PACKAGE.rglob("*.py"))

#: Rank of each part of the package; a module imports only parts of lower rank, or its own part.
RANKS = {
    "errors": 0, "arrays": 0, "limits": 0, "names": 0, "progress": 0, "quoting": 0,
    "dates": 1, "disk": 1, "processes": 1, "tolerances": 1, "units": 1,
    "findings": 2, "geometry": 2, "nesting": 2, "model": 3, "reducer": 4, "shop": 5,
    "kernel": 6, "bending": 6, "joints": 6,
    "audit": 7, "comparison": 7, "importers": 7,
    "settings": 8, "words": 8, "job": 9, "exporters": 10, "batch": 11, "demo": 12, "serve": 12, "cli": 13,
    "__main__": 14, "__init__": 15,
}  # fmt: skip
#: Parts that never import these parts, whatever their rank: writers know what was read only through the job.
BARRED = {"exporters": {"importers", "audit"}}
#: Parts that, on top of their rank, may use only these parts.
NARROW = {
    "kernel": {
        "dates", "errors", "findings", "geometry", "limits", "model", "quoting", "reducer", "tolerances", "units",
    },
}  # fmt: skip
#: Third-party packages and the only places that may import them.
PLACES = {
    "click": ("cli/",),
    "ezdxf": ("dxf",),
    "OCP": ("kernel/", "importers/solids/"),
    "trimesh": ("exporters/", "importers/"),
    "reportlab": ("exporters/",),
    "rich": ("cli/",),
    "PIL": ("exporters/",),
    "jinja2": ("exporters/", "serve/"),
    "markupsafe": ("exporters/",),
    "werkzeug": ("serve/",),
    "plotly": ("exporters/",),
    "highspy": ("nesting/",),
    "tomlkit": ("shop/",),
    "watchfiles": ("batch/",),
}
#: Test-only packages: the library must work without them.
TEST_ONLY = {
    "axe_playwright_python", "cadquery", "fluids", "gemmi", "hypothesis", "playwright", "pypdf", "pytest",
    "sectionproperties", "shapely", "dask", "distributed",
}  # fmt: skip
#: Parts that may open files.
OPENERS = ("disk", "importers", "exporters", "shop", "cli")
#: What it costs too much to import before it is needed.
HEAVY = (
    "OCP", "cadquery", "trimesh", "scipy", "vtk", "casadi", "networkx", "reportlab", "rich", "PIL", "jinja2", "plotly",
    "highspy", "tomlkit", "watchfiles", "werkzeug",
)  # fmt: skip


def part(path: Path) -> str:
    """Name of the part a module belongs to: the first folder, or the module's own name."""
    inside = path.relative_to(PACKAGE)
    return inside.parts[0] if len(inside.parts) > 1 else inside.stem


@cache
def tree(path: Path) -> ast.Module:
    """The syntax tree of a module, read once for all tests."""
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


@cache
def nodes(module: ast.Module) -> tuple[ast.AST, ...]:
    """Every node of a module's syntax tree, walked once for all tests."""
    return tuple(ast.walk(module))


def imported(path: Path, node: ast.AST) -> list[str]:
    """Dotted names that an import statement asks for; [] for any other node."""
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    if isinstance(node, ast.ImportFrom):
        assert node.level == 0, f"{path}: relative import"
        base = node.module or ""
        return [base] if base != "converter" else [f"converter.{alias.name}" for alias in node.names]
    if (
        isinstance(node, ast.Call)
        and getattr(node.func, "id", getattr(node.func, "attr", "")) in ("import_module", "__import__")
        and node.args
        and isinstance(node.args[0], ast.Constant)
    ):
        return [str(node.args[0].value)]
    return []


def imports(path: Path) -> list[tuple[int, str]]:
    return [(node.lineno, name) for node in nodes(tree(path)) for name in imported(path, node)]


def against_direction(path: Path) -> list[str]:
    """Every import of a module that points the wrong way, as readable lines."""
    own = part(path)
    wrong = []
    for line, name in imports(path):
        words = name.split(".")
        if words[0] != "converter" or len(words) < 2:
            continue
        other = words[1] if words[1] in RANKS else "__init__"
        if words[1] == "__version__" or other == own or own == "__init__":
            continue
        narrow = NARROW.get(own)
        if RANKS[other] >= RANKS[own] or (narrow is not None and other not in narrow) or other in BARRED.get(own, ()):
            wrong.append(f"{path.relative_to(ROOT)}:{line} {own} must not import {name}")
    return wrong


def misplaced(path: Path) -> list[str]:
    """Every import of a third-party package outside its place."""
    inside = path.relative_to(PACKAGE).as_posix()
    wrong = []
    for line, name in imports(path):
        top = name.split(".")[0]
        if top in TEST_ONLY:
            wrong.append(f"{inside}:{line} imports {top}, which only the tests may use")
        places = PLACES.get(top)
        if places is None:
            continue
        words = inside.split("/")
        if top == "ezdxf":
            home = any(word.startswith("dxf") for word in words)
        else:
            home = any(inside.startswith(place) for place in places)
        if not home:
            wrong.append(f"{inside}:{line} imports {top}")
    return wrong


def past_the_door(path: Path) -> list[str]:
    """Every call of a module that opens a file to read it, other than by `converter.disk.reading`."""
    # values that have come through the door, the package's own files, files in an archive in memory
    known = re.compile(r"(source|given|self|package|\(?resources\.files\(.*)\.(open|read_text|read_bytes)", re.DOTALL)
    opening = re.compile(
        r"(.*\.)?(open|fdopen|read_text|read_bytes|readfile|fromfile|loadtxt|genfromtxt|FilePathResolver)"
        r"|(.*\.)?stdin\..*",
        re.DOTALL,
    )
    return [
        f"{path.relative_to(PACKAGE).as_posix()}:{node.lineno} calls {name}"
        for node in nodes(tree(path))
        if isinstance(node, ast.Call) and opening.fullmatch(name := ast.unparse(node.func))
        if not known.fullmatch(name) and not any(mode in ast.unparse(node) for mode in ("O_WRONLY", "open('wb')"))
    ]


def test_every_part_has_a_rank():
    """A new part must be put in its place before anything imports it."""
    assert {part(p) for p in MODULES} <= set(RANKS)


def test_imports_point_one_way():
    """Direction from the design: cli, api, then readers, writers and audit, down to errors."""
    assert [line for path in MODULES for line in against_direction(path)] == []


@pytest.mark.slow
def test_libraries_stay_in_their_places():
    """click in cli, ezdxf in the DXF files, the CAD kernel behind one small package."""
    assert [line for path in MODULES for line in misplaced(path)] == []


@pytest.mark.parametrize(
    ("where", "source", "check"),
    [
        ("geometry/probe.py", "from converter.model.run import Run", against_direction),
        ("geometry/probe.py", "def f():\n    from converter import job", against_direction),
        ("exporters/probe.py", "import converter.importers.registry", against_direction),
        ("exporters/probe.py", "import_module('converter.importers.registry')", against_direction),
        ("kernel/probe.py", "from converter.shop.model import Shop", against_direction),
        ("audit/probe.py", "import click", misplaced),
        ("exporters/solids/step.py", "def f():\n    from OCP.gp import gp_Pnt", misplaced),
        ("importers/registry.py", "import ezdxf", misplaced),
        ("shop/probe.py", "import fluids", misplaced),
        ("shop/probe.py", "Path(name).read_text()", past_the_door),
        ("importers/probe.py", "with open(source) as stream: pass", past_the_door),
        ("importers/dxf/probe.py", "ezdxf.readfile(source)", past_the_door),
        ("importers/probe.py", "data = sys.stdin.buffer.read()", past_the_door),
    ],
)
def test_the_guard_bites(where, source, check, monkeypatch):
    """Each rule has a case that fails without it."""
    path = PACKAGE / where
    monkeypatch.setattr(sys.modules[__name__], "tree", lambda _: ast.parse(source))
    assert check(path), f"{source!r} in {where} went unseen"


def calls(path: Path) -> list[tuple[int, str]]:
    """Every call in a module as (line, dotted name of what is called)."""
    found = []
    for node in nodes(tree(path)):
        if isinstance(node, ast.Call):
            found.append((node.lineno, ast.unparse(node.func)))
    return found


@pytest.mark.slow
def test_only_the_command_line_prints_or_exits():
    """A library function never prints and never exits."""
    banned = re.compile(
        r"(print|exit|quit|sys\.exit|os\._exit|sys\.std(out|err)\.write|logging\.(debug|info|warning|error|exception|critical|log|basicConfig)|warnings\.warn)"
    )
    wrong = [
        f"{path.relative_to(ROOT)}:{line} calls {name}"
        for path in MODULES
        if part(path) not in ("cli", "__main__")
        if path != PACKAGE / "processes" / "parallel.py"  # a forked process must end at once
        for line, name in calls(path)
        if banned.fullmatch(name)
    ]
    assert wrong == []


def test_files_are_opened_only_where_files_belong():
    """importers, exporters and shop open files; everything between works on values."""
    opening = re.compile(r"open|(.*\.)?(open|read_text|read_bytes|write_text|write_bytes|readfile|saveas|mkdir|unlink)")
    wrong = [
        f"{path.relative_to(ROOT)}:{line} calls {name}"
        for path in MODULES
        if part(path) not in OPENERS
        for line, name in calls(path)
        if opening.fullmatch(name)
    ]
    assert wrong == []


#: What starts another program: calls, and modules whose only use it is.
_STARTERS = re.compile(
    r"subprocess\.\w+|os\.(system|popen|startfile|posix_spawnp?|(exec|spawn)[lv]p?e?)|pty\.spawn|(.*\.)?Popen"
    r"|(.*\.)?create_subprocess_(exec|shell)"
)
_STARTING_MODULES = {"multiprocessing", "concurrent", "runpy", "webbrowser", "pdb"}


#: What of `concurrent.futures` starts no program.
_NO_PROGRAM = {"CancelledError", "Executor", "Future", "ThreadPoolExecutor"}


def only_threads(path: Path, line: int) -> bool:
    """Whether an import takes nothing that starts a program: the pool of threads, and what all pools have."""
    return any(
        isinstance(node, ast.ImportFrom) and node.lineno == line and {alias.name for alias in node.names} <= _NO_PROGRAM
        for node in nodes(tree(path))
    )


def unguarded_starts(path: Path) -> list[str]:
    """Every place that starts a program otherwise than as an isolated interpreter."""
    where = path.relative_to(ROOT)
    wrong = [
        f"{where}:{line} imports {name}"
        for line, name in imports(path)
        if name.split(".")[0] in _STARTING_MODULES and not only_threads(path, line)
    ]
    for node in nodes(tree(path)):
        if isinstance(node, ast.ImportFrom) and node.module == "subprocess":
            wrong.append(f"{where}:{node.lineno} takes names out of subprocess, which hides what is started")
        if isinstance(node, ast.Call) and _STARTERS.fullmatch(ast.unparse(node.func)):
            command = node.args[0] if node.args else None
            isolated = isinstance(command, ast.Call) and ast.unparse(command.func) == "isolated_python"
            shell = any(keyword.arg == "shell" for keyword in node.keywords)
            if not isolated or shell or not ast.unparse(node.func).startswith("subprocess."):
                wrong.append(f"{where}:{node.lineno} starts a program that is no isolated interpreter")
    return wrong


def test_no_program_is_started_but_an_isolated_interpreter():
    """Else a file in the current folder, or one that PYTHONPATH names, would run in it."""
    assert [line for path in MODULES for line in unguarded_starts(path)] == []


@pytest.mark.parametrize(
    "source",
    [
        "subprocess.run([sys.executable, '-c', code])",
        "subprocess.Popen(['python3', '-I', 'x.py'])",
        "subprocess.run(isolated_python(code), shell=True)",
        "from subprocess import run",
        "os.system('true')",
        "os.execv(sys.executable, [])",
        "os.spawnl(0, 'x')",
        "def f():\n    from multiprocessing import Pool",
        "from concurrent.futures import ProcessPoolExecutor",
    ],
)
def test_a_careless_start_is_seen(source, monkeypatch):
    monkeypatch.setattr(sys.modules[__name__], "tree", lambda _: ast.parse(source))
    assert unguarded_starts(PACKAGE / "importers" / "probe.py")


@pytest.mark.slow
def test_files_are_read_through_one_door():
    """A file that is opened to be read is noted there, so that no command writes over it."""
    # `shop check -` writes nothing; closed streams are opened on nothing; a package in memory is no file
    wrong = [line for path in MODULES if part(path) != "disk" for line in past_the_door(path)]
    assert [
        line
        for line in wrong
        if not line.startswith(("cli/commands/shop.py", "cli/streams.py", "exporters/solids/mesh.py"))
    ] == []


def test_heavy_libraries_are_imported_only_inside_functions():
    """Importing any module of ours must not load the CAD kernel, the mesh library or scipy."""
    wrong = []
    for path in MODULES:
        wrong += [
            f"{path.relative_to(ROOT)}:{node.lineno} imports {name}"
            for node in _at_import_time(tree(path))
            for name in imported(path, node)
            if name.split(".")[0] in HEAVY and not path.relative_to(PACKAGE).as_posix().startswith(PLACES["OCP"])
        ]
    assert wrong == []


def _at_import_time(node: ast.AST) -> list[ast.AST]:
    """Nodes that run when the module is imported: not inside functions, not under TYPE_CHECKING."""
    return _that_run(node, inside_functions=False)


def _that_run(node: ast.AST, inside_functions: bool) -> list[ast.AST]:
    """Nodes that are not under TYPE_CHECKING, those inside functions or without them."""
    found: list[ast.AST] = []
    for child in ast.iter_child_nodes(node):
        if isinstance(child, (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda)) and not inside_functions:
            continue
        if isinstance(child, ast.If) and "TYPE_CHECKING" in ast.unparse(child.test):
            found += [inner for other in child.orelse for inner in [other, *_that_run(other, inside_functions)]]
            continue
        found.append(child)
        found += _that_run(child, inside_functions)
    return found


def module_name(path: Path) -> str:
    """Dotted name of a module: a folder's for its __init__."""
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def own_imports(path: Path, node: ast.AST, known: Collection[str]) -> set[str]:
    """Modules of ours that an import statement loads; ``from a import b`` loads a.b where that is a module."""
    if not isinstance(node, ast.ImportFrom):
        return {name for name in imported(path, node) if name in known}
    inside = {f"{node.module}.{alias.name}" for alias in node.names}
    plain = {node.module} if node.module in known and not inside <= set(known) else set()
    return plain | inside & set(known)


def import_graph() -> dict[str, set[str]]:
    """What each module of ours ever imports of ours, also inside functions; imports for types alone do not count."""
    known = {module_name(path): path for path in MODULES}
    graph = {}
    for name, path in known.items():
        running = _that_run(tree(path), inside_functions=True)
        graph[name] = {other for node in running for other in own_imports(path, node, known)} - {name}
    return graph


def cycles(graph: Mapping[str, set[str]]) -> list[list[str]]:
    """One ring of modules for each place where imports lead back to where they began; [] where none do."""
    left, found = dict(graph), []
    while left:
        done = [name for name, others in left.items() if not others & left.keys()]  # lead nowhere, so in no ring
        if not done:
            way = [next(iter(left))]
            while (onward := min(left[way[-1]] & left.keys())) not in way:
                way.append(onward)
            done = way[way.index(onward) :]
            found.append(done)
        for name in done:
            del left[name]
    return found


@pytest.mark.slow
def test_no_modules_import_each_other():
    """Nor lead back to one another over others, be it inside functions: what two share belongs in a third."""
    assert cycles(import_graph()) == []


@pytest.mark.parametrize(
    ("one", "other", "seen"),
    [
        ("from converter.joints import probe_b", "import converter.joints.probe_a", True),
        ("from converter.joints.probe_b import f", "def g():\n    from converter.joints import probe_a", True),
        ("from converter.joints.probe_b import f", "def g():\n    import_module('converter.joints.probe_a')", True),
        ("import converter.joints.probe_b", "if TYPE_CHECKING:\n    import converter.joints.probe_a", False),
        ("import converter.joints.probe_b", "import converter.joints.cope", False),
    ],
)
def test_a_ring_of_imports_is_seen(one, other, seen, monkeypatch):
    sources = {PACKAGE / "joints" / "probe_a.py": one, PACKAGE / "joints" / "probe_b.py": other}
    monkeypatch.setattr(sys.modules[__name__], "MODULES", list(sources))
    monkeypatch.setattr(sys.modules[__name__], "tree", lambda path: ast.parse(sources[path]))
    ring = [["converter.joints.probe_a", "converter.joints.probe_b"]] if seen else []
    assert cycles(import_graph()) == ring


def called(node: ast.AST) -> str:
    """Name of the plain function that a node calls, or ''."""
    return node.func.id if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) else ""


@pytest.mark.slow
def test_no_broad_except_hides_a_mistake():
    """`except Exception` only where it raises again, and in five named places.

    The last line of defence of the command line, of each drawing of a batch and of each request of the page turns it
    into a sentence; the DXF loader goes on to repair a file on which the strict reader stumbles in whatever way, and
    says so; a forked process hands it to the one that waits, which raises it.
    """
    wrong = []
    for path in MODULES:
        if path.relative_to(PACKAGE).as_posix() in (
            "cli/main.py",
            "batch/in_bay.py",
            "importers/dxf/load.py",
            "processes/parallel.py",
            "serve/local_page.py",
        ):
            continue
        for node in nodes(tree(path)):
            if isinstance(node, ast.ExceptHandler):
                broad = node.type is None or ast.unparse(node.type) in ("Exception", "BaseException")
                # what is not the kernel's own `kernel_failure` raises again
                raises = any(isinstance(one, ast.Raise) or called(one) == "kernel_failure" for one in ast.walk(node))
                if broad and not raises:
                    wrong.append(f"{path.relative_to(ROOT)}:{node.lineno}")
    assert wrong == []


def test_modules_stay_small():
    """Up to 500 lines hold one idea; more hold two."""
    long = {p.relative_to(ROOT).as_posix(): n for p in MODULES if (n := len(p.read_text().splitlines())) > 500}
    assert long == {}


def test_top_level_holds_what_the_design_says():
    """README, DEVELOPERS, pyproject, the package, tests, fixtures, docs, LICENSE and dotfiles."""
    tracked = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    ).stdout.splitlines()
    if not tracked:  # an unpacked archive has no index: what lies there, but for what git would ignore
        ignored = [line.rstrip("/") for line in (ROOT / ".gitignore").read_text().split()]
        tracked = [p.name for p in ROOT.iterdir() if not any(fnmatch(p.name, pattern) for pattern in ignored)]
    top = {name.split("/")[0] for name in tracked}
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "converter", "tests", "fixtures", "docs", "LICENSE"}
    assert {name for name in top if not name.startswith(".")} <= allowed
    assert (ROOT / ".ci" / "run").stat().st_mode & 0o111, ".ci/run is not executable"


def test_the_package_says_it_is_typed():
    """py.typed is there and is packed."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    assert (PACKAGE / "py.typed").exists()
    assert "py.typed" in project["tool"]["setuptools"]["package-data"]["converter"]
    assert project["project"]["scripts"]["elbowroom"] == "converter.cli.main:main"


#: Where a shape of section may be told by its name: where shapes live, and where names are read or written.
SHAPE_NAMES = (
    "model/section/", "shop/sections.py", "shop/load.py", "importers/tables/bend_csv.py",
    "importers/tables/bend_json.py", "exporters/data/table_csv.py", "exporters/data/table_json.py",
)  # fmt: skip


def shape_asked(path: Path) -> list[str]:
    """Every comparison with the name of a shape of section, and every `is_round` of one, outside those places."""
    from converter.model.section import SHAPES

    inside = path.relative_to(PACKAGE).as_posix()
    if inside.startswith(SHAPE_NAMES):
        return []
    wrong = []
    for node in nodes(tree(path)):
        if isinstance(node, ast.Compare):
            sides = [node.left, *node.comparators]
            values = [one for side in sides for one in ast.walk(side) if not isinstance(side, ast.Call)]
        elif isinstance(node, ast.MatchValue):
            values = [node.value]
        else:
            values = []
        if any(isinstance(one, ast.Constant) and one.value in SHAPES for one in values):
            wrong.append(f"{inside}:{node.lineno} compares with the name of a shape: ask the section what it can do")
        # the pieces of a solid that is being read have an `is_round` of their own
        if isinstance(node, ast.Attribute) and node.attr == "is_round" and not inside.startswith("importers/solids/"):
            wrong.append(f"{inside}:{node.lineno} asks whether something is round: ask for its cylinder")
    return wrong


@pytest.mark.slow
def test_sections_answer_for_themselves():
    """No branch on the shape of a section outside the shapes: a new one is a file of its own."""
    assert [line for path in MODULES for line in shape_asked(path)] == []


@pytest.mark.parametrize(
    "source",
    [
        "section.shape == 'bar'",
        "'round' != die.shape",
        "section.shape in ('round', 'square')",
        "section.is_round",
        "match section.shape:\n    case 'rectangular':\n        pass",
    ],
)
def test_a_branch_on_a_shape_is_seen(source, monkeypatch):
    """Each way of asking has a case that fails without the guard; in the shapes' own folder it is allowed."""
    monkeypatch.setattr(sys.modules[__name__], "tree", lambda _: ast.parse(source))
    assert shape_asked(PACKAGE / "exporters" / "probe.py"), f"{source!r} went unseen"
    assert shape_asked(PACKAGE / "model" / "section" / "probe.py") == []


# --- a fresh interpreter ------------------------------------------------------------------


def loaded_by(arguments: list[str], cwd: Path) -> tuple[int, set[str], str]:
    """Run the command line in a fresh interpreter: (status, top-level modules and numpy's loaded, stdout)."""
    code = (
        "import json, sys\n"
        "from converter.cli.main import main\n"
        f"status = main({arguments!r})\n"
        "sys.stdout.flush()\n"
        "names = sorted({m if m.startswith('numpy.') else m.split('.')[0] for m in sys.modules})\n"
        "sys.stderr.write('\\nLOADED ' + json.dumps([status, names]))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=cwd, capture_output=True, text=True, check=True)
    status, names = json.loads(done.stderr.rsplit("LOADED ", 1)[1])
    return status, set(names), done.stdout


def quoted_otherwise(path: Path) -> list[str]:
    """Places where a sentence holds a text by its repr, or cut with a slice: `converter.quoting` does both better."""
    wrong = []
    for node in nodes(tree(path)):
        if not isinstance(node, ast.FormattedValue):
            continue
        cut = isinstance(node.value, ast.Subscript) and isinstance(node.value.slice, ast.Slice)
        upper = node.value.slice.upper if cut else None
        long = isinstance(upper, ast.Constant) and isinstance(upper.value, int) and upper.value >= 20
        if node.conversion == ord("r") or long:
            wrong.append(f"{path.relative_to(ROOT)}:{node.lineno}")
    return wrong


@pytest.mark.slow
def test_messages_quote_through_one_helper():
    """Whatever comes from a file or the command line is short and visible in a message (`quoted`, `shortened`)."""
    modules = [path for path in MODULES if path != PACKAGE / "__init__.py"]  # its message is for programmers
    assert [place for path in modules for place in quoted_otherwise(path)] == []


def test_a_text_quoted_otherwise_is_noticed(tmp_path, monkeypatch):
    monkeypatch.setitem(globals(), "ROOT", tmp_path)
    bad = tmp_path / "bad.py"
    bad.write_text('a = f"{name!r}"\nb = f"{name[:40]}"\nc = f"{name[:1]} {name} {quoted(name)}"\n', encoding="utf-8")
    assert quoted_otherwise(bad) == ["bad.py:1", "bad.py:2"]


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["shop", "--help"], ["table", "--help"]])
def test_help_loads_neither_numpy_nor_ezdxf(arguments, tmp_path):
    """Help is instant: nothing heavier than click."""
    status, names, text = loaded_by(arguments, tmp_path)
    assert status == 0
    assert "elbowroom" in text
    assert not names & {"numpy", "ezdxf", *HEAVY}


def test_drawing_to_tables_loads_no_kernel(tmp_path):
    """DXF to the JSON table, the verdict, CSV and JSON files: no CAD kernel, mesh library, scipy, arrays with holes."""
    drawing = tmp_path / "hook.dxf"
    _hook(drawing)
    status, names, text = loaded_by(["table", "hook.dxf", "--json"], tmp_path)
    assert status == 0
    assert json.loads(text)["tubes"][0]["bends"][0]["clr"] == pytest.approx(100.0)
    assert "ezdxf" in names
    assert not names & {"numpy.ma", *HEAVY}
    status, names, _ = loaded_by(["audit", "hook.dxf", "--section", "25x2mm", "--json"], tmp_path)
    assert status in (0, 1)
    assert not names & {"numpy.ma", *HEAVY}
    status, names, _ = loaded_by(["convert", "hook.dxf", "--to", "csv,json", "--out", "out"], tmp_path)
    assert status == 0
    assert {p.suffix for p in (tmp_path / "out").iterdir()} == {".csv", ".json"}
    assert not names & set(HEAVY)


def _hook(path: Path) -> None:
    """Two straights and a quarter bend of 100 mm, on layer TUBE."""
    import ezdxf

    doc = ezdxf.new("R2010", units=4)
    model = doc.modelspace()
    model.add_line((0, 0), (300, 0), dxfattribs={"layer": "TUBE"})
    model.add_arc((300, 100), 100, 270, 0, dxfattribs={"layer": "TUBE"})
    model.add_line((400, 100), (400, 400), dxfattribs={"layer": "TUBE"})
    model.add_line((0, 900, 0), (0, 900, 300), dxfattribs={"layer": "POST"})  # not all of it lies flat
    doc.saveas(path)


# --- names ----------------------------------------------------------------------------------


def shared_class_names(trees: dict[str, ast.Module]) -> dict[str, list[str]]:
    """Names that more than one class has, a leading underscore or not, and where."""
    where: dict[str, list[str]] = {}
    for place, module in trees.items():
        for node in nodes(module):
            if isinstance(node, ast.ClassDef):
                where.setdefault(node.name.lstrip("_"), []).append(f"{place}:{node.lineno}")
    return {name: places for name, places in where.items() if len(places) > 1}


def test_no_two_classes_share_a_name():
    """A name that a reader meets in two modules is the same thing in both."""
    assert shared_class_names({path.relative_to(PACKAGE).as_posix(): tree(path) for path in MODULES}) == {}


def test_a_shared_class_name_is_noticed():
    trees = {"a.py": ast.parse("class Body: ..."), "b.py": ast.parse("def f():\n    class _Body: ...")}
    assert shared_class_names(trees) == {"Body": ["a.py:1", "b.py:2"]}


#: Names, but for underscores and case, that say how a thing came about instead of what it is.
_SAYS_NOTHING = re.compile(
    r"asked|found|given|kept|known|laid|let_go|looked|made|meant|nothing|one|plain|said|sayer|seen|shown_name|something"
    r"|spoken|stuff|taken|thing|things|told|wanted|written|.*_(that_matter|let_go|told|asked|said|made)|(asked|told)_.*"
)


def empty_names(module: ast.Module) -> list[str]:
    """Functions, classes, attributes and module constants whose name says nothing, as readable lines."""
    names = [
        (node.lineno, node.name)
        for node in nodes(module)
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef))
    ]
    for body in [module.body, *(node.body for node in nodes(module) if isinstance(node, ast.ClassDef))]:
        for node in body:
            annotated = [node.target] if isinstance(node, ast.AnnAssign) else []
            targets = node.targets if isinstance(node, ast.Assign) else annotated
            names += [(target.lineno, target.id) for target in targets if isinstance(target, ast.Name)]
    names += [
        (node.lineno, node.attr)
        for node in nodes(module)
        if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store)
    ]
    return [f"{line} {name}" for line, name in sorted(names) if _SAYS_NOTHING.fullmatch(name.strip("_").lower())]


def test_names_say_what_a_thing_is():
    """The words are those of DEVELOPERS.md; a participle or a pronoun is none of them."""
    trees = {path.relative_to(PACKAGE).as_posix(): tree(path) for path in MODULES}
    assert [f"{place}:{line}" for place, module in trees.items() for line in empty_names(module)] == []


@pytest.mark.parametrize(
    "source",
    [
        "def _said(): ...",
        "class Made: ...",
        "class A:\n    found: int",
        "class A:\n    def plain(self): ...",
        "class A:\n    def __init__(self):\n        self._told = 1",
        "_KEPT = 1",
        "def f():\n    def one(): ...",
        "def mates_that_matter(): ...",
    ],
)
def test_an_empty_name_is_noticed(source):
    assert len(empty_names(ast.parse(source))) == 1
    assert empty_names(ast.parse("for one in found:\n    known_bodies = made")) == []


# --- the tests themselves -------------------------------------------------------------------


def hurried(source: str) -> list[str]:
    """What a test file says about time that only tests/conftest.py may say, as readable lines.

    A hypothesis test that suppresses health checks of its own loses those of the profile: it has to name the one about
    speed again.
    """
    wrong = []
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call) or ast.unparse(node.func).rpartition(".")[2] != "settings":
            continue
        given = {word.arg: ast.unparse(word.value) for word in node.keywords}
        if "deadline" in given:
            wrong.append(f"{node.lineno} states a deadline")
        if "too_slow" not in given.get("suppress_health_check", "too_slow"):
            wrong.append(f"{node.lineno} is checked for speed")
    return wrong


def test_no_test_fails_because_the_machine_is_busy():
    """Hypothesis times nothing: no deadline for an example, in any profile and in any test."""
    files = [path for path in sorted((ROOT / "tests").rglob("*.py")) if path.name != "conftest.py"]
    assert [f"{path.name}:{line}" for path in files for line in hurried(path.read_text(encoding="utf-8"))] == []
    assert settings().deadline is None
    assert HealthCheck.too_slow in settings().suppress_health_check


@pytest.mark.parametrize(
    "source",
    [
        "@settings(max_examples=3, deadline=None)\ndef test(): ...",
        "@hypothesis.settings(deadline=200)\ndef test(): ...",
        "@settings(suppress_health_check=[HealthCheck.filter_too_much])\ndef test(): ...",
    ],
)
def test_a_test_in_a_hurry_is_seen(source):
    assert len(hurried(source)) == 1


def skipped_examples(source: str) -> list[int]:
    """Lines where a test leaves some examples before it asserts anything; `assume` counts those, and complains."""
    found = []
    for function in ast.walk(ast.parse(source)):
        if isinstance(function, ast.FunctionDef) and function.name.startswith("test_"):
            inside = list(ast.walk(function))
            first = min((node.lineno for node in inside if isinstance(node, ast.Assert)), default=0)
            leaves = [node.body[0] for node in inside if isinstance(node, ast.If)]
            bare = [leave for leave in leaves if isinstance(leave, ast.Return) and leave.value is None]
            found += [leave.lineno for leave in bare if leave.lineno < first]
    return found


def test_no_test_leaves_without_having_looked():
    files = sorted((ROOT / "tests").rglob("test_*.py"))
    assert [f"{path.name}:{line}" for path in files for line in skipped_examples(path.read_text("utf-8"))] == []
    assert skipped_examples("def test_it(x):\n    if x < 0:\n        return\n    assert x >= 0") == [3]
