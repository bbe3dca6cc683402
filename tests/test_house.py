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
from fnmatch import fnmatch
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "converter"
MODULES = sorted(PACKAGE.rglob("*.py"))

#: Rank of each part of the package; a module imports only parts of lower rank, or its own part.
RANKS = {
    "errors": 0, "pause": 0, "progress": 0, "tolerances": 1, "units": 1, "findings": 1,
    "geometry": 2, "model": 3, "reducer": 4, "shop": 5,
    "kernel": 6, "bending": 6, "joints": 6,
    "audit": 7, "importers": 7, "exporters": 7,
    "settings": 8, "api": 9, "demo": 10, "cli": 11, "__main__": 12, "__init__": 13,
}  # fmt: skip
#: Parts that, on top of their rank, may use only these parts.
NARROW = {"kernel": {"errors", "tolerances", "units", "findings", "geometry", "model", "reducer"}}
#: Third-party packages and the only places that may import them.
PLACES = {
    "click": ("cli/",),
    "ezdxf": ("dxf",),
    "OCP": ("kernel/",),
    "cadquery": ("kernel/",),
    "trimesh": ("exporters/", "importers/"),
    "reportlab": ("exporters/",),
    "rich": ("cli/",),
    "PIL": ("exporters/",),
    "jinja2": ("exporters/",),
    "markupsafe": ("exporters/",),
    "plotly": ("exporters/",),
}
#: Test-only packages: the library must work without them.
TEST_ONLY = {
    "axe_playwright_python", "fluids", "gemmi", "hypothesis", "playwright", "pypdf", "pytest", "sectionproperties",
    "shapely",
}  # fmt: skip
#: Parts that may open files.
OPENERS = ("importers", "exporters", "shop", "cli")
#: What it costs too much to import before it is needed.
HEAVY = (
    "OCP", "cadquery", "trimesh", "scipy", "vtk", "casadi", "networkx", "reportlab", "rich", "PIL", "jinja2", "plotly",
)  # fmt: skip


def part(path: Path) -> str:
    """Name of the part a module belongs to: the first folder, or the module's own name."""
    inside = path.relative_to(PACKAGE)
    return inside.parts[0] if len(inside.parts) > 1 else inside.stem


def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


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
    return [(node.lineno, name) for node in ast.walk(tree(path)) for name in imported(path, node)]


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
        if RANKS[other] >= RANKS[own] or (narrow is not None and other not in narrow):
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


def test_every_part_has_a_rank():
    """A new part must be put in its place before anything imports it."""
    assert {part(p) for p in MODULES} <= set(RANKS)


def test_imports_point_one_way():
    """Direction from the design: cli, api, then readers, writers and audit, down to errors."""
    assert [line for path in MODULES for line in against_direction(path)] == []


def test_libraries_stay_in_their_places():
    """click in cli, ezdxf in the DXF files, the CAD kernel behind one small package."""
    assert [line for path in MODULES for line in misplaced(path)] == []


@pytest.mark.parametrize(
    ("where", "source", "check"),
    [
        ("geometry/probe.py", "from converter.model.run import Run", against_direction),
        ("geometry/probe.py", "def f():\n    from converter import api", against_direction),
        ("exporters/probe.py", "import converter.importers.registry", against_direction),
        ("exporters/probe.py", "import_module('converter.importers.registry')", against_direction),
        ("kernel/probe.py", "from converter.shop.model import Shop", against_direction),
        ("audit/probe.py", "import click", misplaced),
        ("exporters/step.py", "def f():\n    from OCP.gp import gp_Pnt", misplaced),
        ("importers/registry.py", "import ezdxf", misplaced),
        ("shop/probe.py", "import fluids", misplaced),
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
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Call):
            found.append((node.lineno, ast.unparse(node.func)))
    return found


def test_only_the_command_line_prints_or_exits():
    """A library function never prints and never exits."""
    banned = re.compile(
        r"(print|exit|quit|sys\.exit|os\._exit|sys\.std(out|err)\.write|logging\.(debug|info|warning|error|exception|critical|log|basicConfig)|warnings\.warn)"
    )
    wrong = [
        f"{path.relative_to(ROOT)}:{line} calls {name}"
        for path in MODULES
        if part(path) not in ("cli", "__main__")
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


def test_heavy_libraries_are_imported_only_inside_functions():
    """Importing any module of ours must not load the CAD kernel, the mesh library or scipy."""
    wrong = []
    for path in MODULES:
        wrong += [
            f"{path.relative_to(ROOT)}:{node.lineno} imports {name}"
            for node in _at_import_time(tree(path))
            for name in imported(path, node)
            if name.split(".")[0] in HEAVY and part(path) != "kernel"
        ]
    assert wrong == []


def _at_import_time(node: ast.AST) -> list[ast.AST]:
    """Nodes that run when the module is imported: not inside functions, not under TYPE_CHECKING."""
    found: list[ast.AST] = []
    for child in ast.iter_child_nodes(node):
        if isinstance(child, (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda)):
            continue
        if isinstance(child, ast.If) and "TYPE_CHECKING" in ast.unparse(child.test):
            found += [inner for other in child.orelse for inner in [other, *_at_import_time(other)]]
            continue
        found.append(child)
        found += _at_import_time(child)
    return found


def test_no_broad_except_hides_a_mistake():
    """`except Exception` only where it raises again, and in two named places.

    The command line's last line of defence turns it into a sentence; the DXF loader goes on to
    repair a file on which the strict reader stumbles in whatever way, and says so.
    """
    wrong = []
    for path in MODULES:
        if path.relative_to(PACKAGE).as_posix() in ("cli/main.py", "importers/dxf/load.py"):
            continue
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.ExceptHandler):
                broad = node.type is None or ast.unparse(node.type) in ("Exception", "BaseException")
                raises = any(isinstance(inner, ast.Raise) for inner in ast.walk(node))
                if broad and not raises:
                    wrong.append(f"{path.relative_to(ROOT)}:{node.lineno}")
    assert wrong == []


def test_modules_stay_small():
    """About 400 lines hold one idea; more hold two."""
    long = {p.relative_to(ROOT).as_posix(): n for p in MODULES if (n := len(p.read_text().splitlines())) > 420}
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


# --- a fresh interpreter ------------------------------------------------------------------


def loaded_by(arguments: list[str], cwd: Path) -> tuple[int, set[str], str]:
    """Run the command line in a fresh interpreter: (status, top-level modules loaded, stdout)."""
    code = (
        "import json, sys\n"
        "from converter.cli.main import main\n"
        f"status = main({arguments!r})\n"
        "sys.stdout.flush()\n"
        "names = sorted({m.split('.')[0] for m in sys.modules})\n"
        "sys.stderr.write('\\nLOADED ' + json.dumps([status, names]))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=cwd, capture_output=True, text=True, check=True)
    status, names = json.loads(done.stderr.rsplit("LOADED ", 1)[1])
    return status, set(names), done.stdout


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["shop", "--help"], ["table", "--help"]])
def test_help_loads_neither_numpy_nor_ezdxf(arguments, tmp_path):
    """Help is instant: nothing heavier than click."""
    status, names, text = loaded_by(arguments, tmp_path)
    assert status == 0
    assert "elbowroom" in text
    assert not names & {"numpy", "ezdxf", *HEAVY}


def test_drawing_to_tables_loads_no_kernel(tmp_path):
    """DXF to the JSON table and to CSV and JSON files: no CAD kernel, no mesh library, no scipy."""
    drawing = tmp_path / "hook.dxf"
    _hook(drawing)
    status, names, text = loaded_by(["table", "hook.dxf", "--json"], tmp_path)
    assert status == 0
    assert json.loads(text)["tubes"][0]["bends"][0]["clr"] == pytest.approx(100.0)
    assert "ezdxf" in names
    assert not names & set(HEAVY)
    status, names, _ = loaded_by(["convert", "hook.dxf", "--to", "csv,json", "--out", "out"], tmp_path)
    assert status in (0, 1)
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
    doc.saveas(path)
