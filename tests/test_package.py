"""What is handed out: the top level, the package's contents, its notebooks, its dependencies, its light front."""

from __future__ import annotations

import ast
import fnmatch
import functools
import importlib.metadata
import json
import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import kit

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
SETUPTOOLS = PROJECT["tool"]["setuptools"]
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "kit", "templates", "notebooks", "tests"}
NOTEBOOKS = sorted([*(ROOT / "templates").rglob("*.ipynb"), *(ROOT / "notebooks").rglob("*.ipynb")])

# What a user works in, whether or not a module of ours imports it.
WORKED_IN = {"jupyterlab", "ipywidgets", "pandas"}
RUN_AS_COMMANDS = {"nbconvert", "pytest-xdist"}  # by tests/benchmarks, and by pytest itself
READ_AS_FILES = {"rheopy-rheodata"}  # its tables are read; importing it would load a drawing library
HEAVY = {"pandas", "numpy", "scipy", "plotly", "ipywidgets", "papermill", "nbformat"}
HEAVY |= {"sqlalchemy", "alembic", "pint", "pydantic", "tomlkit"}


def test_the_top_level_holds_what_it_should_and_nothing_else():
    assert {name for name in _handed_out() if not name.startswith(".")} == TOP_LEVEL


def _handed_out() -> set[str]:
    """Names at the top that git keeps; where there is no git, those it is not told to ignore."""
    try:
        command = ["git", "-C", str(ROOT), "ls-files", "-z"]
        listed = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60).stdout.split("\0")
    except (OSError, subprocess.SubprocessError):
        ignored = [line.strip("/") for line in (ROOT / ".gitignore").read_text(encoding="utf-8").split()]
        listed = [path.name for path in ROOT.iterdir() if not any(fnmatch.fnmatch(path.name, one) for one in ignored)]
    return {name.partition("/")[0] for name in listed if name}


def test_the_version_is_the_same_everywhere():
    assert kit.__version__ == PROJECT["project"]["version"]
    changes = (ROOT / "kit" / "CHANGES.md").read_text(encoding="utf-8")
    assert re.search(r"^## (\S+)", changes, re.MULTILINE)[1] == kit.__version__


# Contents of the package


def _package_folders() -> dict[str, Path]:
    """Package name to its folder, as pyproject.toml says."""
    moved = SETUPTOOLS["package-dir"]
    return {name: ROOT / moved.get(name, name.replace(".", "/")) for name in SETUPTOOLS["packages"]}


def test_every_folder_with_modules_is_a_listed_package():
    with_modules = {path.parent for path in (ROOT / "kit").rglob("*.py")}
    assert with_modules <= set(_package_folders().values())
    assert all(folder.is_dir() for folder in _package_folders().values())
    assert all((folder / "__init__.py").is_file() for folder in with_modules)


@pytest.mark.parametrize(("name", "folder"), _package_folders().items())
def test_every_file_of_a_package_is_shipped(name, folder):
    patterns = SETUPTOOLS["package-data"].get(name, [])
    own = [path for path in folder.rglob("*") if path.is_file() and _package_of(path) == name]
    names = [path.relative_to(folder).as_posix() for path in own if path.suffix not in (".py", ".pyc")]
    assert [file for file in names if not any(fnmatch.fnmatch(file, pattern) for pattern in patterns)] == []


def _package_of(path: Path) -> str:
    """The package a file belongs to: that of the nearest folder which is one."""
    names = {folder: name for name, folder in _package_folders().items()}
    hidden = any(part.startswith(".") or part == "__pycache__" for part in path.relative_to(ROOT).parts)
    return "" if hidden else next((names[folder] for folder in path.parents if folder in names), "")


# Notebooks


def test_there_are_templates_to_look_at():
    assert {path.stem for path in NOTEBOOKS} >= {"trial_writeup", "compare_versions"}


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_is_kept_without_outputs_and_with_stable_names(path):
    notebook = json.loads(path.read_text(encoding="utf-8"))
    assert (notebook["nbformat"], notebook["nbformat_minor"]) == (4, 5)
    assert notebook["metadata"]["kernelspec"]["name"] == "python3"
    assert set(notebook["metadata"]) <= {"kernelspec", "language_info", "kit"}  # no widget state, no times, no paths
    assert set(notebook["metadata"].get("language_info", {})) <= {"name"}  # a version would change with every save
    for cell in notebook["cells"]:
        assert not cell.get("outputs"), cell["id"]
        assert cell.get("execution_count") is None, cell["id"]
        assert set(cell["metadata"]) <= {"tags"}, cell["id"]
    names = [cell["id"] for cell in notebook["cells"]]
    assert len(set(names)) == len(names)
    assert [name for name in names if not re.fullmatch(r"[a-z][a-z0-9-]{1,40}", name)] == []
    assert [name for name in names if re.fullmatch(r"[0-9a-f]{8}(-[0-9a-f-]+)?", name)] == []  # made by an editor


@pytest.mark.parametrize("path", [path for path in NOTEBOOKS if path.parent.name == "templates"], ids=lambda p: p.stem)
def test_a_template_declares_itself(path):
    notebook = json.loads(path.read_text(encoding="utf-8"))
    declared = notebook["metadata"]["kit"]
    assert declared["template"] == path.stem
    assert declared["title"]
    assert declared["question"].endswith(("?", "."))
    assert declared["parameters"][0]["name"] == "source"
    tagged = [cell for cell in notebook["cells"] if "parameters" in cell["metadata"].get("tags", [])]
    assert len(tagged) == 1
    assigned = ast.parse("".join(tagged[0]["source"])).body
    assert [node.targets[0].id for node in assigned] == [parameter["name"] for parameter in declared["parameters"]]


# Dependencies


@functools.cache
def _imported(folder: Path) -> set[str]:
    """First names of everything imported from outside, at any place of a module."""
    found = set()
    for path in folder.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found |= {alias.name.partition(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and not node.level:
                found.add(node.module.partition(".")[0])
            elif isinstance(node, ast.Call) and _called(node).endswith("importorskip"):
                found.add(ast.literal_eval(node.args[0]).partition(".")[0])
    return found - set(sys.stdlib_module_names) - {"kit", "tests"}


def _called(node: ast.Call) -> str:
    return getattr(node.func, "attr", getattr(node.func, "id", ""))


def _distributions(names: set[str]) -> dict[str, set[str]]:
    """Import name to the distributions that bring it, in the normal form of their names."""
    known = importlib.metadata.packages_distributions()
    return {name: {_normal(distribution) for distribution in known.get(name, [])} for name in names}


def _normal(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def _declared(requirements: list[str]) -> set[str]:
    return {_normal(re.match(r"[A-Za-z0-9._-]+", requirement)[0]) for requirement in requirements}


BASE = _declared(PROJECT["project"]["dependencies"])
TESTING = _declared(PROJECT["project"]["optional-dependencies"]["test"])


def test_every_dependency_is_imported_somewhere():
    used = set().union(*_distributions(_imported(ROOT / "kit")).values())
    assert BASE - used - WORKED_IN == set()


def test_everything_imported_is_declared():
    found = _distributions(_imported(ROOT / "kit"))
    assert [name for name, distributions in found.items() if not distributions & BASE] == []


def test_everything_the_tests_import_is_declared_and_the_other_way_round():
    found = _distributions(_imported(ROOT / "tests"))
    local = {path.stem for path in (ROOT / "tests").rglob("*.py")}
    undeclared = [name for name, made_by in found.items() if not made_by & (BASE | TESTING)]
    assert set(undeclared) - local == set()
    assert TESTING - set().union(*found.values()) - RUN_AS_COMMANDS - READ_AS_FILES == set()


# The front of the package


def _loaded_by(code: str, *arguments: str) -> set[str]:
    """First names of the modules a fresh process has loaded after running some code."""
    code += "\nimport sys\nprint('\\nLOADED', *sys.modules)"
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-c", code, *arguments]
    done = subprocess.run(command, capture_output=True, text=True, env=environment, timeout=120, check=True)
    return {name.partition(".")[0] for name in done.stdout.rpartition("LOADED")[2].split()}


def test_importing_the_package_loads_nothing_heavy():
    before, after = _loaded_by(""), _loaded_by("import kit")
    assert "kit" in after
    assert (after - before) & (HEAVY | {"typer", "rich", "IPython"}) == set()


LINDEN = ROOT / "kit" / "demo" / "linden.toml"
REVIEW = "import sys, kit; assert kit.load_formula(sys.argv[1]).review() is not None"
COMMAND = "import sys; from kit.cli import main; assert main(['review', sys.argv[1]]) in (0, 1)"


@pytest.mark.parametrize(("code", "heavy"), [(REVIEW, HEAVY), (COMMAND, HEAVY - {"pydantic"})], ids=["call", "command"])
def test_a_review_loads_nothing_heavy(code, heavy):
    """The command may load pydantic: newer versions of typer read their arguments with it."""
    loaded = _loaded_by(code, str(LINDEN))
    assert {"kit", "tomllib"} <= loaded
    assert loaded & heavy == set()


@pytest.mark.parametrize("name", kit.__all__)
def test_every_public_name_is_there_and_explains_itself(name):
    value = getattr(kit, name)
    if name != "__version__":
        assert callable(value)
        assert value.__doc__


def test_the_package_lists_its_public_names():
    assert set(kit.__all__) <= set(dir(kit))
    with pytest.raises(AttributeError, match="no_such_name"):
        kit.no_such_name  # noqa: B018 - the look-up is what is tested


# The commands a fresh machine is told to run


def test_the_run_of_the_project_uses_the_commands_of_the_readme():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    commands = re.findall(r"^```sh\n(python3 -m venv .*)\n```$", readme, re.MULTILINE)
    assert len(commands) == 2
    lines = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    assert commands[1] in lines
    assert os.name != "posix" or os.access(ROOT / ".ci" / "run", os.X_OK)
