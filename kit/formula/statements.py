"""The text of a TOML file taken apart into its statements, every character kept, so that one can be changed alone."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

_FIRST = re.compile(r"^\s*line\s*=\s*\[\s*(#.*)?$")
_LAST = re.compile(r"^\s*\]\s*(#.*)?$")


class UnknownForm(Exception):  # never leaves the package: the caller writes the file anew
    """The text is TOML, but laid out in a way that is not followed here."""


class Typed(str):
    """A number as it was typed, "3.10" without quotes."""

    __slots__ = ()


@dataclass
class Statement:
    """One key with its value, as typed, and the comments and blank lines that stand above it."""

    key: str
    value: object
    text: str
    lead: str = ""


@dataclass
class Block:
    """A table: what stands above its header, the header, and its statements; the top of the file has no header."""

    path: tuple[str, ...] = ()
    lead: str = ""
    header: str = ""
    body: list[Statement] = field(default_factory=list)
    children: list[Block] = field(default_factory=list)


def read_blocks(text: str) -> tuple[list[Block], str]:
    """The blocks of a file in order, the top first, and the comments after the last statement.

    Tables below a table of the same phase or step are its children.

    Raises
    ------
    UnknownForm   For a table that is nested otherwise.
    """
    blocks = [Block()]
    waiting = ""
    for chunk in _chunks(text):
        table = tomllib.loads(chunk, parse_float=Typed)
        if not table:
            waiting += chunk
            continue
        if chunk.lstrip().startswith("["):
            block = Block(_path(table), waiting, chunk)
            _place(blocks, block)
        else:
            key, value = next(iter(table.items()))
            _open_block(blocks).body.append(Statement(key, value, chunk, waiting))
        waiting = ""
    return blocks, waiting


def _chunks(text: str) -> Iterator[str]:
    """The shortest runs of lines that are TOML by themselves."""
    chunk = ""
    for line in text.splitlines(keepends=True):
        chunk += line
        try:
            tomllib.loads(chunk)
        except tomllib.TOMLDecodeError:
            continue
        yield chunk
        chunk = ""
    if chunk:
        raise UnknownForm


def _path(table: Mapping) -> tuple[str, ...]:
    key, value = next(iter(table.items()))
    inner = value[0] if isinstance(value, list) else value
    return (key, *(_path(inner) if inner else ()))


def _place(blocks: list[Block], block: Block) -> None:
    if len(block.path) == 1:
        blocks.append(block)
    elif len(block.path) == 2 and blocks[-1].path == block.path[:1]:
        blocks[-1].children.append(block)
    else:
        raise UnknownForm


def _open_block(blocks: list[Block]) -> Block:
    return blocks[-1].children[-1] if blocks[-1].children else blocks[-1]


@dataclass
class Elements:
    """An array of tables typed one element a line: first line, elements as statements, last line."""

    first: str
    items: list[Statement]
    tail: str
    last: str


def read_elements(text: str) -> Elements:
    """The elements of `line = [ ... ]`.

    Raises
    ------
    UnknownForm   When the elements do not stand on lines of their own.
    """
    lines = text.splitlines(keepends=True)
    if len(lines) < 2 or not _FIRST.match(lines[0]) or not _LAST.match(lines[-1]):
        raise UnknownForm
    items: list[Statement] = []
    waiting = chunk = ""
    for line in lines[1:-1]:
        chunk += line
        found = _array(chunk)
        if found is None:
            continue
        if not found:
            waiting += chunk
        elif len(found) == 1:
            items.append(Statement("", found[0], chunk, waiting))
            waiting = ""
        else:
            raise UnknownForm
        chunk = ""
    if chunk:
        raise UnknownForm
    return Elements(lines[0], items, waiting, lines[-1])


def _array(chunk: str) -> list | None:
    try:
        return tomllib.loads(f"x = [\n{chunk}\n]", parse_float=Typed)["x"]
    except tomllib.TOMLDecodeError:
        return None


def element_parts(text: str) -> tuple[str, str, str]:
    """One element of an array: the space before it, the element, and what stands behind it, its comma set."""
    start = len(text) - len(text.lstrip())
    ends = [index + 1 for index, char in enumerate(text) if char == "}" and _array(text[: index + 1])]
    tail = text[ends[0] :]
    return text[:start], text[start : ends[0]], tail if tail.lstrip().startswith(",") else f",{tail}"


def comments(text: str) -> Iterator[str]:
    """Every comment of a file, those behind a value too."""
    for chunk in _chunks(text):
        for line in chunk.splitlines():
            at = _comment_at(line)
            if at is not None:
                yield line[at:].strip()


def _comment_at(line: str) -> int | None:
    """Where the comment of a line starts; text in quotes is passed over."""
    quote = ""
    escaped = False
    for index, char in enumerate(line):
        if escaped:
            escaped = False
        elif quote:
            escaped = char == "\\" and quote == '"'
            quote = "" if char == quote else quote
        elif char in "\"'":
            quote = char
        elif char == "#":
            return index
    return None


def value_text(value: object) -> str:
    """A value as TOML on one line."""
    if isinstance(value, Typed):
        return str(value)
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{key_text(key)} = {value_text(item)}' for key, item in value.items())} }}"
    if isinstance(value, Sequence) and not isinstance(value, str):
        return f"[{', '.join(value_text(item) for item in value)}]"
    import tomlkit  # writing only

    return tomlkit.item(value).as_string()


def key_text(key: str) -> str:
    """A key as TOML: bare where it may be."""
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else value_text(key)
