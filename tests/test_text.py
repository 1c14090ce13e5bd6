"""What the project's files say: nothing of one machine or of a workshop, no way around the escaping, no request."""

from __future__ import annotations

import ast
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
TEXT = {".py", ".md", ".toml", ".ipynb", ".css", ".js", ".csv", ".mako", ".ini", ".svg"}
OWN = Path(__file__).relative_to(ROOT).as_posix()

# The only modules that turn text into HTML: each escapes, and the page's own tests hold it to that.
MAKES_HTML = {"kit/show.py", "kit/writeup/page.py", "kit/writeup/page_outputs.py", "kit/writeup/page_text.py"}


def files(*tops: str) -> list[Path]:
    """Text files of these folders or names, what editors and tools leave behind excepted."""
    found = []
    for top in tops:
        path = ROOT / top
        every = path.rglob("*") if path.is_dir() else [path]
        found += [file for file in every if file.is_file() and (file.suffix in TEXT or file.name == "run")]
    return sorted(file for file in found if not {"__pycache__", ".ipynb_checkpoints"} & set(file.parts))


EVERYTHING = files("kit", "templates", "notebooks", "tests", "README.md", "DEVELOPERS.md", "pyproject.toml", ".ci")
SHIPPED = files("kit", "templates", "notebooks")


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def hits(pattern: re.Pattern, paths: list[Path]) -> list[str]:
    """Every place where a pattern is found, as `file:line: text`. This file, which spells the patterns, is left out."""
    found = []
    for path in paths:
        if name_of(path) == OWN:
            continue
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
            if match := pattern.search(line):
                found.append(f"{name_of(path)}:{number}: {match.group()}")
    return found


# A path of one machine says nothing to another; a scratch folder is asked for, not spelled.
MACHINE_PATHS = re.compile(r"""(?<![\w.~])/(?:work|root|home|Users|tmp)/\w|\b[A-Z]:\\+Users\b""")
REGISTRIES = re.compile(r"\b(?:pypi\.org|pythonhosted\.org|npmjs\.(?:org|com)|anaconda\.org|registry\.\w+\.\w+)\b")
# The project speaks of hair conditioners, not of how it was made. "Agent" alone is chemistry: a chelating agent.
WORKSHOP = re.compile(
    r"\bissues?\s*#?\d|\b(?:this|that|an?|the|open|closed|our) issue\b|\b[Ii]ssue tracker\b|\bwork orders?\b"
    r"|\b(?:earlier|previous|next|last|another|later|coding) sessions?\b|\bsub-?agents?\b|\b(?:AI|coding) agents?\b"
    r"|\b(?:design|trade|style|jupyter|checks)\.(?:md|json)\b"
    r"|\b(?:read-only|public) face\b|\b[Tt]he (?:house|roof)\b"
    r"|\b(?:TODO|FIXME|XXX)\b"
)


@pytest.mark.parametrize("pattern", [MACHINE_PATHS, REGISTRIES, WORKSHOP], ids=["paths", "registries", "workshop"])
def test_no_trace_of_a_machine_or_a_workshop(pattern):
    assert len(EVERYTHING) > 100
    assert hits(pattern, EVERYTHING) == []


@pytest.mark.parametrize(
    ("pattern", "text"),
    [
        (MACHINE_PATHS, 'open("/home/chemist/linden.toml")'),
        (MACHINE_PATHS, "C:\\Users\\chemist"),
        (MACHINE_PATHS, "see /tmp/scratch"),
        (REGISTRIES, "https://pypi.org/simple"),
        (WORKSHOP, "fixed in issue 12"),
        (WORKSHOP, "a later session does this"),
        (WORKSHOP, "see design.md"),
    ],
)
def test_planted_traces_are_caught(pattern, text):
    assert pattern.search(text)


@pytest.mark.parametrize(
    ("pattern", "text"),
    [
        (MACHINE_PATHS, "kit/templates/work/plan.ipynb, dir='/tmp', https://example.org/home/page"),
        (WORKSHOP, "a chelating agent; scope='session'; a browser session; lactic acid issues from the lot"),
    ],
)
def test_ordinary_text_is_left_alone(pattern, text):
    assert not pattern.search(text)


# Typed text becomes HTML in one place


def raw_html(tree: ast.AST) -> Iterator[str]:
    """Names of calls and arguments that would show typed text unescaped, or read a measured value unsafely."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            called = ast.unparse(node.func).rpartition(".")[2]
            if called in ("HTML", "HTMLMath", "Markdown", "Javascript", "Styler"):
                yield f"{called}("
            yield from ("escape=False" for word in node.keywords if _is_unescaped(word))
        elif isinstance(node, ast.Attribute) and node.attr == "style":
            yield ".style"


def _is_unescaped(word: ast.keyword) -> bool:
    return word.arg == "escape" and isinstance(word.value, ast.Constant) and word.value.value is False


def number_boxes(tree: ast.AST) -> Iterator[str]:
    """Number boxes of the widget library: a comma typed into one is dropped, and a wheel turns the number."""
    for node in ast.walk(tree):
        name = getattr(node, "attr", getattr(node, "id", getattr(node, "name", "")))
        if isinstance(name, str) and re.fullmatch(r"(Bounded)?(Float|Int)Text", name):
            yield name


def code_of(path: Path) -> ast.AST:
    """The Python of a module, or of all code cells of a notebook."""
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".ipynb":
        cells = (cell for cell in json.loads(text)["cells"] if cell["cell_type"] == "code")
        text = "\n".join("".join(cell["source"]) for cell in cells)
    return ast.parse(text)


CODE = [path for path in SHIPPED if path.suffix in (".py", ".ipynb")]


@pytest.mark.parametrize("path", CODE, ids=name_of)
def test_typed_text_becomes_html_in_one_place_only(path):
    if name_of(path) not in MAKES_HTML:
        assert list(raw_html(code_of(path))) == []


@pytest.mark.parametrize("path", CODE, ids=name_of)
def test_no_number_box_for_a_measured_value(path):
    assert list(number_boxes(code_of(path))) == []


def test_planted_html_and_number_boxes_are_caught():
    code = "import ipywidgets as w\nHTML(note)\nw.HTML(note)\nt.to_html(escape=False)\nt.style.format()\nescape = False"
    assert sorted(raw_html(ast.parse(code))) == [".style", "HTML(", "HTML(", "escape=False"]
    code = "from ipywidgets import FloatText\nw.BoundedIntText(1)\nText('1,5')"
    assert sorted(number_boxes(ast.parse(code))) == ["BoundedIntText", "FloatText"]


# A page that is shared asks nothing of a network

REQUESTS = re.compile(
    r"https?:|[\"'(]//\w|\bfetch\s*\(|XMLHttpRequest|WebSocket|EventSource|sendBeacon|importScripts|@import|\burl\("
    r"|<link\b|<(?:script|img|iframe|object|embed)[^>]*\s(?:src|data)=(?![\"']data:)"
)
PAGE_CODE = [
    path
    for path in SHIPPED
    if path.suffix in (".css", ".js") or name_of(path) == "kit/show.py" or path.name.startswith("page")
]


def test_the_code_of_a_page_makes_no_request():
    assert {"page.py", "show.py", "page_style.css", "page_boot.js"} <= {path.name for path in PAGE_CODE}
    assert hits(REQUESTS, PAGE_CODE) == []


@pytest.mark.parametrize(
    "text",
    [
        '<script src="x.js">',
        '<link rel="stylesheet">',
        "fetch('a')",
        "url(font.woff)",
        '"//cdn.example/x.js"',
        "http://a",
    ],
)
def test_planted_requests_are_caught(text):
    assert REQUESTS.search(text)
    assert not REQUESTS.search('<img src="data:image/png;base64,AA"> // a comment, 50 // 3, <script id="x">')
