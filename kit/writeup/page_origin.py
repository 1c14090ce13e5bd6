"""The end of a page: what it was made from, and how far that can be trusted."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from kit.show import escape
from kit.writeup.declaration import SHEET

_KNOWN = {
    "template": "Template",
    "template_sha256": "SHA-256 of the template",
    "snapshot_sha256": "SHA-256 of the snapshot of the lab book",
    "kit_version": "Version of the kit",
}
_HASHES = {"template_sha256", "snapshot_sha256"}
_STAMPED = (("template", "template_sha256"), ("snapshot", "snapshot_sha256"))
NOT_RECORDED = "NOT RECORDED"
TRUST = (
    "This page was computed by a program from a frozen snapshot of the lab book; running the same template on the "
    "same snapshot again gives the same page. Each stream of the record is a chain of hashes, and the table shows "
    "where each chain ended. Together they show edits made outside the kit. They do not show a forger who rebuilds "
    'the whole chain, and "reproduced" is not "correct": a wrong reading, honestly recorded, is reproduced as well.'
)


def origin_html(
    notebook: Mapping[str, Any], provenance: Mapping[str, Any], heads: Mapping[str, Mapping[str, Any]]
) -> str:
    """The section as HTML; core facts that are missing are printed NOT RECORDED.

    Parameters
    ----------
    notebook : mapping     Executed; its `kit` metadata names template, hash, parameters and packages.
    provenance : mapping   Name to short text; overrules what the notebook says under the same name.
    heads : mapping        Stream name to {"seq": int, "hash": str}.
    """
    run = notebook.get("metadata", {}).get("kit", {})
    facts = {key: run.get(key) for key in ("template", "template_sha256")} | dict(provenance)
    rows = [(label, _text(facts.get(key)), key in _HASHES) for key, label in _KNOWN.items()]
    rows += [(key, _text(facts[key]), key.endswith("sha256")) for key in sorted(set(facts) - set(_KNOWN))]
    rows += [(f"Parameter {name}", _given(value), False) for name, value in sorted(run.get("parameters", {}).items())]
    packages = ", ".join(f"{name} {version}" for name, version in sorted(run.get("packages", {}).items()))
    rows += [("Made with", packages, False)] if packages else []
    stamp = _stamp(facts) if run.get("layout") == SHEET else ""
    return (
        '<footer class="origin">\n<h2>Where this page comes from</h2>\n'
        f"{stamp}<p>{escape(TRUST)}</p>\n{_facts_table(rows)}\n{_heads_table(heads)}\n</footer>"
    )


def _stamp(facts: Mapping[str, Any]) -> str:
    """The origin in one line, for a sheet that has no room on paper for more."""
    hashes = [f"{name} {_text(facts.get(key))[:16]}" for name, key in _STAMPED]
    return f'<p class="stamp">Kit {escape(_text(facts.get("kit_version")))}; SHA-256: {escape(", ".join(hashes))}</p>\n'


def _text(value: Any) -> str:
    if value is None or value == "":
        return NOT_RECORDED
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        return ", ".join(map(_text, value)) or NOT_RECORDED
    return str(value)


def _given(value: Any) -> str:
    """A parameter as it was given; one left empty was not, and is no gap in the record."""
    return "not given" if value in (None, "", [], ()) else _text(value)


def _facts_table(rows: list[tuple[str, str, bool]]) -> str:
    body = "".join(
        f'<tr><th scope="row">{escape(label)}</th><td{" class=hash" if is_hash else ""}>{escape(text)}</td></tr>'
        for label, text, is_hash in rows
    )
    return _scrolled("What this page rests on", f"<caption>What this page rests on</caption><tbody>{body}</tbody>")


def _heads_table(heads: Mapping[str, Mapping[str, Any]]) -> str:
    if not heads:
        return '<p class="note">No chain heads were given for this page.</p>'
    body = "".join(
        f'<tr><th scope="row">{escape(stream)}</th><td class="r">{head["seq"]}</td>'
        f'<td class="hash">{escape(head["hash"])}</td></tr>'
        for stream, head in sorted(heads.items())
    )
    names = '<th scope="col">Stream</th><th scope="col" class="r">Entries</th><th scope="col">Hash of the last</th>'
    caption = "Heads of the record's chains"
    table = f"<caption>{caption}</caption><thead><tr>{names}</tr></thead><tbody>{body}</tbody>"
    return _scrolled(caption, table)


def _scrolled(label: str, table: str) -> str:
    return f'<div class="wide" role="group" tabindex="0" aria-label="{escape(label)}"><table>{table}</table></div>'
