"""Imports inside the kit go down or stay in their folder, and never in a circle.

Read from the source text, so that imports inside functions, under TYPE_CHECKING and by name count as well.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

import kit

# From the bottom up. Names in one set may use each other (without a circle); tuples lie side by side and may not.
LAYERS: tuple[tuple[frozenset[str], ...], ...] = (
    (
        frozenset(
            {"errors", "units", "sources", "show", "data", "tabular", "tabular_map", "tabular_text", "tabular_workbook"}
        ),
    ),
    (frozenset({"science"}),),
    (frozenset({"formula"}),),
    (frozenset({"bench"}),),
    (frozenset({"labbook"}),),
    (frozenset({"trials"}),),
    (frozenset({"figures"}),),
    (frozenset({"widgets"}), frozenset({"writeup"})),
    (frozenset({"workfolder"}),),
    (frozenset({"cli", "demo", "__main__"}),),
)
HEIGHT = {name: (level, side) for level, row in enumerate(LAYERS) for side, names in enumerate(row) for name in names}
TOP = len(LAYERS) - 1
PUBLIC = dict(kit._PUBLIC)


def read_modules(package: Path) -> dict[str, Path]:
    """Dotted name to file, of every module in a folder named `kit`."""
    names = {}
    for path in sorted(package.rglob("*.py")):
        parts = ["kit", *path.relative_to(package).with_suffix("").parts]
        names[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return names


def imports_of(name: str, path: Path, modules: dict[str, Path]) -> Iterator[str]:
    """Modules of the kit that a module imports, at any place and in any way that can be read from its text."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if alias.name.partition(".")[0] == "kit")
        elif isinstance(node, ast.ImportFrom):
            yield from _from_import(node, _absolute(node, name, path), modules)
        elif isinstance(node, ast.Call):
            yield from _by_name(node)


def _absolute(node: ast.ImportFrom, name: str, path: Path) -> str:
    if not node.level:
        return node.module or ""
    package = name.split(".") if path.name == "__init__.py" else name.split(".")[:-1]
    return ".".join([*package[: len(package) - node.level + 1], *([node.module] if node.module else [])])


def _from_import(node: ast.ImportFrom, base: str, modules: dict[str, Path]) -> Iterator[str]:
    if base.partition(".")[0] != "kit":
        return
    for alias in node.names:
        if f"{base}.{alias.name}" in modules:
            yield f"{base}.{alias.name}"
        elif base == "kit" and alias.name in PUBLIC:
            yield PUBLIC[alias.name]  # a public name is loaded from where it lives
        elif base != "kit" or alias.name != "__version__":
            yield base


def _by_name(node: ast.Call) -> Iterator[str]:
    called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
    first = node.args[0] if node.args else None
    named = str(first.value) if isinstance(first, ast.Constant) else ""
    if called in ("import_module", "__import__") and named.partition(".")[0] == "kit":
        yield named


def read_graph(package: Path) -> dict[str, set[str]]:
    """Each module and the modules of the kit it imports."""
    modules = read_modules(package)
    return {name: set(imports_of(name, path, modules)) - {name} for name, path in modules.items()}


def wrong_ways(graph: dict[str, set[str]]) -> list[str]:
    """Every import that goes up, sideways, or into the package's own front, and every module without a layer."""
    wrong = [f"{name} belongs to no layer" for name in graph if name != "kit" and _folder(name) not in HEIGHT]
    for name, imported in graph.items():
        wrong += [f"{name} imports {other}" for other in sorted(imported) if not _is_allowed(name, other)]
    return wrong


def _folder(name: str) -> str:
    return name.split(".")[1]


def _is_allowed(name: str, other: str) -> bool:
    if name == "kit":
        return False  # the front loads its names when they are first used, and imports nothing
    if other == "kit":
        return HEIGHT[_folder(name)][0] == TOP  # `import kit` reaches everything
    (level, side), (below, other_side) = HEIGHT[_folder(name)], HEIGHT.get(_folder(other), (TOP + 1, 0))
    return below < level or (below, other_side) == (level, side)


def circle(graph: dict[str, set[str]]) -> list[str]:
    """The modules of one circle of imports, in order; empty where there is none."""
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as found:
        return list(reversed(found.args[1]))
    return []


@pytest.fixture(scope="module")
def graph(root: Path) -> dict[str, set[str]]:
    return read_graph(root / "kit")


def test_the_reader_sees_the_package(graph):
    assert len(graph) > 50
    assert "kit.errors" in graph["kit.units"]
    assert "kit.labbook.store" in graph["kit.labbook.batch_record"]  # under TYPE_CHECKING
    assert "kit.demo.tour" in graph["kit.cli.study"]  # inside a function


def test_imports_go_down_or_stay_in_the_folder(graph):
    assert wrong_ways(graph) == []


def test_no_circle_of_imports(graph):
    assert circle(graph) == []


def test_the_public_names_live_in_modules_that_exist(graph):
    assert set(PUBLIC.values()) <= set(graph)


@pytest.fixture
def planted(tmp_path: Path):
    """A small package named kit with one more line in one of its modules; gives its graph."""

    def plant(module: str, text: str) -> dict[str, set[str]]:
        files = {
            "__init__": '__version__ = "0"',
            "errors": "import sys",
            "units": "from kit.errors import KitError",
            "formula/__init__": "",
            "formula/model": "from kit.units import read",
            "formula/files": "from kit.formula.model import Formula",
            "bench/__init__": "",
            "bench/sheet": "from kit import __version__\nfrom kit.formula import files",
            "widgets/table": "import kit.bench.sheet",
            "writeup/run": "from kit.bench.sheet import plan",
            "cli": "import kit",
        }
        files[module] = f"{files.get(module, '')}\n{text}\n"
        for name, source in files.items():
            path = tmp_path / "kit" / f"{name}.py"
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(source, encoding="utf-8")
        return read_graph(tmp_path / "kit")

    return plant


def test_a_sound_package_is_left_alone(planted):
    graph = planted("cli", "")
    assert wrong_ways(graph) == []
    assert circle(graph) == []


@pytest.mark.parametrize(
    ("module", "text", "said"),
    [
        ("units", "import kit.bench.sheet", "kit.units imports kit.bench.sheet"),
        (
            "formula/model",
            "def f():\n    from kit.bench.sheet import plan",
            "kit.formula.model imports kit.bench.sheet",
        ),
        (
            "formula/model",
            "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from kit.bench import sheet",
            "kit.formula.model imports kit.bench.sheet",
        ),
        ("formula/model", "from ..bench.sheet import plan", "kit.formula.model imports kit.bench.sheet"),
        ("formula/model", "from .. import bench", "kit.formula.model imports kit.bench"),
        (
            "formula/model",
            "import importlib\nimportlib.import_module('kit.cli')",
            "kit.formula.model imports kit.cli",
        ),
        ("formula/model", "from kit import compare", f"kit.formula.model imports {PUBLIC['compare']}"),
        ("formula/model", "import kit", "kit.formula.model imports kit"),
        ("widgets/table", "import kit.writeup.run", "kit.widgets.table imports kit.writeup.run"),
        ("writeup/run", "import kit.widgets.table", "kit.writeup.run imports kit.widgets.table"),
        ("__init__", "from kit.errors import KitError", "kit imports kit.errors"),
        ("gadgets", "", "kit.gadgets belongs to no layer"),
    ],
)
def test_a_planted_import_upwards_is_caught(planted, module, text, said):
    assert wrong_ways(planted(module, text)) == [said]


def test_a_planted_circle_is_caught(planted):
    found = circle(planted("formula/model", "def f():\n    from kit.formula.files import load"))
    assert set(found) == {"kit.formula.model", "kit.formula.files"}


def test_a_circle_through_type_checking_is_caught(planted):
    text = "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from kit.units import read"
    assert set(circle(planted("errors", text))) == {"kit.errors", "kit.units"}
