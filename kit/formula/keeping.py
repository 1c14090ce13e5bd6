"""Saving onto a file a person wrote: comments, blank lines, spelling and order stay where the line still exists."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from difflib import SequenceMatcher

from kit.formula.statements import (
    Block,
    Statement,
    UnknownForm,
    comments,
    element_parts,
    key_text,
    read_blocks,
    read_elements,
    value_text,
)

Row = Mapping[str, object]
Rows = Mapping[str, list[Row]]  # "" for the top, "spec", "phase", "step"
_KINDS = ("spec", "phase", "step")
_NAMED_BY = {"spec": ("property", "method", "age"), "phase": ("name",), "step": ("do", "phase"), "line": ("material",)}


def kept_text(text: str, old: Rows, new: Rows) -> str:
    """The text of a file brought from its old rows to the new ones, everything else in it kept.

    Raises
    ------
    UnknownForm   When the file is laid out in a way that is not followed.
    """
    blocks, tail = read_blocks(text if text.endswith("\n") else f"{text}\n")
    found = {kind: [block for block in blocks if block.path == (kind,)] for kind in _KINDS}
    if any(len(found[kind]) != len(old[kind]) for kind in _KINDS) or len(blocks) != 1 + sum(map(len, found.values())):
        raise UnknownForm
    made = [_block_text(blocks[0], old[""][0], new[""][0], "")]
    queues = {kind: _Queue(kind, found[kind], old[kind], new[kind]) for kind in _KINDS}
    for block in blocks[1:]:
        made += queues[block.path[0]].reach(block)
    made += [text for kind in _KINDS for text in queues[kind].rest()]
    return "".join(made) + tail


def commented_text(plain: str, old_text: str) -> str:
    """The plain text of a formula with the comments of the file before gathered at its head."""
    try:
        found = list(comments(old_text))
    except UnknownForm:
        return plain
    return "".join(f"{comment}\n" for comment in found) + plain


class _Queue:
    """The new rows of one kind, written out in their order while the old blocks are passed."""

    def __init__(self, kind: str, blocks: list[Block], old: Sequence[Row], new: Sequence[Row]) -> None:
        self.kind, self.blocks, self.old, self.new = kind, blocks, old, new
        self.source, self.anchors = _aligned(self.kind, old, new)
        self.done = 0
        self.spaced = any("\n" in block.lead for block in blocks) or not blocks

    def reach(self, block: Block) -> list[str]:
        index = next(number for number, one in enumerate(self.blocks) if one is block)
        upto = self.anchors.get(index, -1) + 1
        if index == len(self.blocks) - 1:
            return self._write(max(upto, len(self.new)))
        return self._write(upto)

    def rest(self) -> list[str]:
        return self._write(len(self.new))

    def _write(self, upto: int) -> list[str]:
        made = []
        for number in range(self.done, upto):
            index = self.source[number]
            if index is None:
                made.append(("\n" if self.spaced else "") + _fresh(self.kind, self.new[number]))
            else:
                made.append(_block_text(self.blocks[index], self.old[index], self.new[number], self.kind))
        self.done = max(self.done, upto)
        return made


def _aligned(kind: str, old: Sequence[Row], new: Sequence[Row]) -> tuple[list[int | None], dict[int, int]]:
    """For each new row the old one it comes from, and for the old ones that keep their place the new one."""
    keys = [[tuple(row.get(name, "") for name in _NAMED_BY[kind]) for row in rows] for rows in (old, new)]
    source: list[int | None] = [None] * len(new)
    anchors: dict[int, int] = {}
    for match in SequenceMatcher(None, *keys, autojunk=False).get_matching_blocks():
        for step in range(match.size):
            source[match.b + step] = match.a + step
            anchors[match.a + step] = match.b + step
    free = [index for index in range(len(old)) if index not in anchors]
    for number, key in enumerate(keys[1]):
        moved = next((index for index in free if keys[0][index] == key), None) if source[number] is None else None
        if moved is not None:
            source[number] = moved
            free.remove(moved)
    return source, anchors


def _block_text(block: Block, old: Row, new: Row, kind: str) -> str:
    children = [child for child in block.children if child.path[1] != "line"]
    lines = [child for child in block.children if child.path[1] == "line"]
    inline = next((one for one in block.body if one.key == "line"), None) if kind == "phase" else None
    plain_old, plain_new = ({key: value for key, value in row.items() if key != "line"} for row in (old, new))
    below = {child.path[1] for child in children}
    body = _body_text(block, plain_old, plain_new, lambda one: one is inline, below)
    if kind == "phase":
        old_lines, new_lines = (list(row.get("line", ())) for row in (old, new))
        body += _inline_text(inline, old_lines, new_lines) if inline else _lines_text(lines, old_lines, new_lines)
    kept = [child for child in children if plain_old.get(child.path[1]) == plain_new.get(child.path[1])]
    return block.lead + block.header + body + "".join(map(_verbatim, kept))


def _verbatim(block: Block) -> str:
    return block.lead + block.header + "".join(one.lead + one.text for one in block.body)


def _body_text(
    block: Block, old: Row, new: Row, passed_over: Callable[[Statement], bool], below: set[str] = frozenset()
) -> str:
    """The statements of a block with the new values; keys that are new come last."""
    made: list[str] = []
    done = {key for key in below if old.get(key) == new.get(key)}
    for one in block.body:
        key = "temp" if one.key == "temps" and not isinstance(one.value, Mapping) else one.key
        if passed_over(one):
            continue
        made.append(one.lead)
        if key in new and old.get(key) == new[key]:
            made.append(one.text)
        elif key in new and key not in done:
            made.append(_changed(one, key, new[key]))
        done.add(key)
    made += [f"{key_text(key)} = {value_text(value)}\n" for key, value in new.items()
             if key not in done and (old.get(key) != value or not block.body)]  # fmt: skip
    return "".join(made)


def _changed(one: Statement, key: str, value: object) -> str:
    import tomlkit  # writing only

    document = tomlkit.parse(one.text)
    if isinstance(one.value, Mapping) or isinstance(value, Mapping) or one.key not in document:
        return f"{key_text(key)} = {value_text(value)}\n"
    document[one.key] = value
    return tomlkit.dumps(document)


def _lines_text(blocks: list[Block], old: Sequence[Row], new: Sequence[Row]) -> str:
    if len(blocks) != len(old):
        raise UnknownForm
    source, _ = _aligned("line", old, new)
    spaced = "\n" if any("\n" in block.lead for block in blocks) or not blocks else ""
    made = []
    for number, index in enumerate(source):
        if index is None:
            made.append(spaced + _fresh("phase.line", new[number]))
        else:
            block = blocks[index]
            made.append(block.lead + block.header + _body_text(block, old[index], new[number], lambda _: False))
    return "".join(made)


def _inline_text(one: Statement, old: Sequence[Row], new: Sequence[Row]) -> str:
    if list(old) == list(new):
        return one.lead + one.text
    elements = read_elements(one.text)
    if len(elements.items) != len(old):
        raise UnknownForm
    source, _ = _aligned("line", old, new)
    indent = element_parts(elements.items[0].text)[0] if elements.items else "  "
    made = [one.lead, elements.first]
    for number, index in enumerate(source):
        if index is None:
            made.append(f"{indent}{value_text(new[number])},\n")
        else:
            made.append(_element(elements.items[index], old[index], new[number]))
    return "".join([*made, elements.tail, elements.last])


def _element(item: Statement, old: Row, new: Row) -> str:
    before, typed, after = element_parts(item.text)
    if old != new:
        raw = {key: value if old.get(key) == new[key] else new[key] for key, value in item.value.items() if key in new}
        typed = value_text({**raw, **{key: value for key, value in new.items() if key not in raw}})
    return item.lead + before + typed + after


def _fresh(path: str, row: Row) -> str:
    """A table that was not in the file before."""
    lines = row.get("line", ()) if path == "phase" else ()
    body = "".join(f"{key_text(key)} = {value_text(value)}\n" for key, value in row.items() if key != "line")
    return f"[[{path}]]\n{body}" + "".join(f"\n{_fresh('phase.line', line)}" for line in lines)
