"""Docstrings are held together with the code: they are there, and what they document exists.

Read from the source text; nothing of the kit is imported but the list of sources.
"""

from __future__ import annotations

import ast
import builtins
import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import pytest

from kit.sources import sources

Documented = ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef
FUNCTION = (ast.FunctionDef, ast.AsyncFunctionDef)

# "name : type   words", "one, other : type   words", or "names without a type   words".
ENTRY = re.compile(r"^(?P<names>\*{0,2}\w+(?:, \*{0,2}\w+)*)(?: : |  +|$)")
HEADING = re.compile(r"^(Parameters|Attributes|Returns|Raises|Notes|Examples)$")
ERROR = re.compile(r"^(?P<name>[A-Z]\w+)\b")
CODE = re.compile(r"`([a-z_]+\.[a-z_]+)`")
SOURCE_KEY = re.compile(r"\[([a-z][a-z0-9]*(?:-[a-z0-9]+)+)\]")
CHECKED_SECTIONS = ("Parameters", "Attributes", "Raises")


@dataclass(frozen=True)
class Item:
    """A module, class, function or method with its dotted name, and the class a method belongs to."""

    name: str
    node: Documented
    owner: ast.ClassDef | None = None

    @property
    def docstring(self) -> str:
        return ast.get_docstring(self.node) or ""

    @property
    def is_public(self) -> bool:
        return not any(part.startswith("_") for part in self.name.split("."))

    def sections(self) -> dict[str, list[str]]:
        """Section heading to its lines, the underline left out."""
        found: dict[str, list[str]] = {}
        heading = ""
        for line, following in pairwise([*self.docstring.splitlines(), ""]):
            if HEADING.match(line) and set(following) == {"-"}:
                heading = line
                found[heading] = []
            elif heading and set(line) != {"-"}:
                found[heading].append(line)
        return found

    def entries(self, section: str) -> list[str]:
        """Lines of a section that start an entry; the indented ones go on with the entry above."""
        return [line for line in self.sections().get(section, []) if line.strip() and not line.startswith(" ")]


def read_items(text: str, module: str) -> list[Item]:
    """The module, its classes, their methods and its functions; what is inside a function is its own affair."""
    tree = ast.parse(text)
    return [Item(module, tree), *_inside(tree, module, None)]


def _inside(node: ast.Module | ast.ClassDef, prefix: str, owner: ast.ClassDef | None) -> Iterator[Item]:
    for child in node.body:
        if isinstance(child, FUNCTION):
            if not _is_overload(child):
                yield Item(f"{prefix}.{child.name}", child, owner)
        elif isinstance(child, ast.ClassDef):
            yield Item(f"{prefix}.{child.name}", child, owner)
            yield from _inside(child, f"{prefix}.{child.name}", child)


def _is_overload(node: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    return any(ast.unparse(decorator).endswith(("overload", ".setter")) for decorator in node.decorator_list)


def missing(items: list[Item]) -> list[str]:
    """Public things without a docstring."""
    return [item.name for item in items if item.is_public and not item.docstring]


def unreadable(items: list[Item]) -> list[str]:
    """Lines of a section that are not in the form of an entry."""
    form = {"Parameters": ENTRY, "Attributes": ENTRY, "Raises": ERROR}
    return [
        f"{item.name}: {line}"
        for item in items
        for section in CHECKED_SECTIONS
        for line in item.entries(section)
        if not form[section].match(line)
    ]


def invented(items: list[Item]) -> list[str]:
    """Parameters and attributes that are documented and do not exist."""
    classes = {item.name.rpartition(".")[2]: item.node for item in items if isinstance(item.node, ast.ClassDef)}
    wrong = []
    for item in items:
        wrong += [f"{item.name}({name})" for name in _names(item, "Parameters") - _parameters(item, classes)]
        if isinstance(item.node, ast.ClassDef):
            wrong += [f"{item.name}.{name}" for name in _names(item, "Attributes") - _attributes(item.node, classes)]
    return sorted(wrong)


def _names(item: Item, section: str) -> set[str]:
    matches = (ENTRY.match(line) for line in item.entries(section))
    return {name.strip(" *") for match in matches if match for name in match["names"].split(",")}


def _parameters(item: Item, classes: dict[str, ast.ClassDef]) -> set[str]:
    if isinstance(item.node, FUNCTION):
        return _signature(item.node)
    return _of_class(item.node, classes) if isinstance(item.node, ast.ClassDef) else set()


def _signature(node: ast.FunctionDef | ast.AsyncFunctionDef) -> set[str]:
    spec = node.args
    every = [*spec.posonlyargs, *spec.args, *spec.kwonlyargs, *filter(None, (spec.vararg, spec.kwarg))]
    return {argument.arg for argument in every}


def _of_class(node: ast.ClassDef, classes: dict[str, ast.ClassDef]) -> set[str]:
    """What making an object of the class takes: `__init__`, else the fields, those of the classes below included."""
    for child in node.body:
        if isinstance(child, FUNCTION) and child.name == "__init__":
            return _signature(child)
    fields = {child.target.id for child in node.body if isinstance(child, ast.AnnAssign)}
    return fields.union(*(_of_class(below, classes) for below in _bases(node, classes)))


def _bases(node: ast.ClassDef, classes: dict[str, ast.ClassDef]) -> list[ast.ClassDef]:
    names = (ast.unparse(base).rpartition(".")[2] for base in node.bases)
    return [classes[name] for name in names if name in classes]


def _attributes(node: ast.ClassDef, classes: dict[str, ast.ClassDef]) -> set[str]:
    own = {child.name for child in node.body if isinstance(child, FUNCTION)}
    for child in ast.walk(node):
        if isinstance(child, ast.Attribute) and isinstance(child.ctx, ast.Store) and _is_self(child.value):
            own.add(child.attr)
    for child in node.body:
        own.update(target.id for target in _targets(child) if isinstance(target, ast.Name))
    return own.union(*(_attributes(below, classes) for below in _bases(node, classes)))


def _is_self(node: ast.expr) -> bool:
    return isinstance(node, ast.Name) and node.id == "self"


def _targets(node: ast.stmt) -> list[ast.expr]:
    return [node.target] if isinstance(node, ast.AnnAssign) else getattr(node, "targets", [])


def unknown_errors(items: list[Item], known: set[str]) -> list[str]:
    """Errors that are documented and are no class of the kit's errors or of Python."""
    wrong = []
    for item in items:
        named = (ERROR.match(line) for line in item.entries("Raises"))
        wrong += [
            f"{item.name}: {match['name']}"
            for match in named
            if match and match["name"] not in known and not hasattr(builtins, match["name"])
        ]
    return wrong


def unknown_codes(items: list[Item], literals: set[str], patterns: list[re.Pattern]) -> list[str]:
    """Error codes that are documented under Raises and appear nowhere in the code."""
    wrong = []
    for item in items:
        codes = CODE.findall("\n".join(item.sections().get("Raises", [])))
        wrong += [
            f"{item.name}: {code}"
            for code in codes
            if code not in literals and not any(pattern.fullmatch(code) for pattern in patterns)
        ]
    return wrong


def literals_of(text: str) -> tuple[set[str], list[re.Pattern]]:
    """Text constants of a module outside docstrings, and its f-strings that look like a code, as patterns."""
    tree = ast.parse(text)
    described = {id(node.body[0].value) for node in ast.walk(tree) if _has_docstring(node)}
    literals, patterns = set(), []
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in described:
            literals.add(node.value)
        elif isinstance(node, ast.JoinedStr) and len(ast.unparse(node)) < 60:
            parts = [re.escape(part.value) if isinstance(part, ast.Constant) else "[a-z_]+" for part in node.values]
            if re.match(r"[a-z_]+\\\.", parts[0]):
                patterns.append(re.compile("".join(parts)))
    return literals, patterns


def _has_docstring(node: ast.AST) -> bool:
    return isinstance(node, Documented) and ast.get_docstring(node, clean=False) is not None


def unknown_sources(items: list[Item]) -> list[str]:
    """Source keys in square brackets that the list of sources does not hold."""
    known = sources()
    return [f"{item.name}: {key}" for item in items for key in SOURCE_KEY.findall(item.docstring) if key not in known]


@pytest.fixture(scope="module")
def texts(root: Path) -> dict[str, str]:
    """Dotted name to source text of every module."""
    found = {}
    for path in sorted((root / "kit").rglob("*.py")):
        parts = path.relative_to(root).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        found[name] = path.read_text(encoding="utf-8")
    return found


@pytest.fixture(scope="module")
def items(texts: dict[str, str]) -> list[Item]:
    return [item for name, text in texts.items() for item in read_items(text, name)]


def test_every_public_thing_has_a_docstring(items):
    assert len(items) > 500
    assert missing(items) == []


def test_every_section_is_in_the_form(items):
    assert unreadable(items) == []


def test_what_is_documented_is_in_the_signature(items):
    assert sum(len(_names(item, "Parameters")) for item in items) > 100
    assert invented(items) == []


def test_documented_errors_exist(items):
    known = {item.name.rpartition(".")[2] for item in items if isinstance(item.node, ast.ClassDef)}
    assert "KitError" in known
    assert unknown_errors(items, known) == []


def test_documented_codes_exist(items, texts):
    literals, patterns = set(), []
    for text in texts.values():
        own_literals, own_patterns = literals_of(text)
        literals |= own_literals
        patterns += own_patterns
    literals |= {".".join(item.name.split(".")[-2:]) for item in items}  # `streams.seal` refers to a function
    assert unknown_codes(items, literals, patterns) == []


def test_source_keys_in_docstrings_exist(items):
    assert unknown_sources(items) == []


PLANTED = '''
"""A planted module."""

CODE = "batch.mass"


class Made:
    """A class.

    Parameters
    ----------
    mass_g : float   [g]
    colour : str     There is none.

    Attributes
    ----------
    weight : float   There is none.
    twice : float    A property.
    """

    mass_g: float

    @property
    def twice(self):
        return 2 * self.mass_g

    def __repr__(self):
        return "Made"


def weigh(material, *portions, mass_g=0.0, **more):
    """Weigh. Source: [common-practice], [no-such-source].

    Parameters
    ----------
    material, mass : str   The second is none.
    *portions : float      [g]
    mass_g                 Without a type.
    more                   The rest.
    bad; line

    Raises
    ------
    BatchError   `batch.mass`, `batch.weight`, `batch.deep_inside`.
    WeighError   There is no such class.
    """


def _private():
    return f"batch.deep_{CODE}"
'''


def test_planted_faults_are_caught():
    items = read_items(PLANTED, "kit.planted")
    literals, patterns = literals_of(PLANTED)
    assert missing(items) == ["kit.planted.Made.twice"]
    assert invented(items) == ["kit.planted.Made(colour)", "kit.planted.Made.weight", "kit.planted.weigh(mass)"]
    assert unreadable(items) == ["kit.planted.weigh: bad; line"]
    assert unknown_errors(items, {"BatchError"}) == ["kit.planted.weigh: WeighError"]
    assert unknown_codes(items, literals, patterns) == ["kit.planted.weigh: batch.weight"]
    assert unknown_sources(items) == ["kit.planted.weigh: no-such-source"]
