"""The shared page: one HTML file from an executed notebook, which draws itself without any network.

A content security policy names the only two scripts that may run, by their hashes: the page's own few lines and the
bundled drawing library. Whatever else got into the page is dead text.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from importlib.resources import files
from typing import Any

from kit.errors import RunError
from kit.show import escape
from kit.writeup.declaration import REPORT
from kit.writeup.page_figures import island, plotly_bundle, script_hash
from kit.writeup.page_origin import origin_html
from kit.writeup.page_outputs import Body, count_figures
from kit.writeup.page_text import load_readers, writable


def make_page(
    notebook: Mapping[str, Any],
    *,
    title: str,
    provenance: Mapping[str, Any],
    cautions: Sequence[tuple[str, str]],
    heads: Mapping[str, Mapping[str, Any]],
) -> str:
    """One self-contained HTML page from an executed notebook.

    Parameters
    ----------
    notebook : NotebookNode   In canonical form, as `run_template` returns it.
    title : str               The page's only first-level heading.
    provenance : mapping      What the results rest on: `template`, `template_sha256`, `snapshot_sha256`, `kit_version`,
                              and any other name with a short text. What the notebook says of its own run is added.
    cautions : sequence       Pairs of title and text, printed before the results.
    heads : mapping           Stream name to {"seq": int, "hash": str}: the ends of the record's chains.

    Returns
    -------
    str   The page; write it as UTF-8 with LF line ends. The same input gives the same text.

    Raises
    ------
    RunError   Codes `page.error_output`, `.stderr`, `.widget`, `.output_kind`, `.figure_lost`, `.figure_kind`,
               `.figure_remote`, `.figure_numbers`, `.figures_dropped`, `.heads`.
    """
    body, run = Body(notebook, title), notebook.get("metadata", {}).get("kit", {})
    parts = [
        _header(title, run, body.sections),
        f'<main id="content">\n{_cautions(cautions)}{body.html}\n</main>',
        origin_html(notebook, provenance, _checked_heads(heads)),
        island(dict(heads), 'id="record-heads"'),
    ]
    layout = str(run.get("layout", REPORT))
    page = writable(_whole(title, "\n".join(parts), drawn=body.figures > 0, layout=layout))
    _check_figures(page, notebook)
    return page


def load_parts() -> None:
    """Load what every page needs, so that making one does not wait for it: the readers of text, the bundled scripts."""
    load_readers()
    plotly_bundle()
    for name in ("page_boot.js", "page_style.css"):
        _resource(name)


def _whole(title: str, content: str, *, drawn: bool, layout: str) -> str:
    scripts, policy = "", "'none'"
    if drawn:
        bundle, boot = plotly_bundle(), _resource("page_boot.js")
        policy = f"{script_hash(boot.encode('utf-8'))} {bundle.script_hash}"
        scripts = f'<script type="text/plain" id="plotly-packed">{bundle.packed}</script>\n<script>{boot}</script>\n'
    kind = "" if layout == REPORT else f' class="{escape(layout)}"'
    rules = (
        f"default-src 'none'; script-src {policy}; style-src 'unsafe-inline'; img-src data: blob:; "
        "base-uri 'none'; form-action 'none'"
    )
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{rules}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>\n{_resource('page_style.css')}</style>\n"
        "<noscript><style>.plot { display: none; }</style></noscript>\n</head>\n"
        f'<body data-ready="{"false" if drawn else "true"}"{kind}>\n{_no_script(drawn)}'
        f"{content}\n{scripts}</body>\n</html>\n"
    )


def _no_script(drawn: bool) -> str:
    if not drawn:
        return ""
    return (
        '<noscript><p class="note" style="margin:1rem">Scripts are off, so the figures are not drawn. '
        "The numbers of each are in the table below its caption.</p></noscript>\n"
    )


@lru_cache(maxsize=4)
def _resource(name: str) -> str:
    text = files("kit.writeup").joinpath(name).read_text(encoding="utf-8")
    return text.replace("\r\n", "\n")


def _header(title: str, run: Mapping[str, Any], sections: list[tuple[str, str]]) -> str:
    kind, question = str(run.get("title", "")), str(run.get("question", ""))
    named = f'<p class="kind">{escape(kind)}</p>\n' if kind and kind != title else ""
    asked = f'<p class="question">{escape(question)}</p>\n' if question else ""
    links = "".join(f'<li><a href="#{ident}">{escape(words)}</a></li>' for ident, words in sections)
    contents = f'<nav class="contents" aria-label="Contents"><ul>{links}</ul></nav>\n' if len(sections) > 1 else ""
    return (
        f'<header>\n<a class="skip" href="#content">Skip to the results</a>\n{named}<h1>{escape(title)}</h1>\n'
        f"{asked}{contents}</header>"
    )


def _cautions(cautions: Sequence[tuple[str, str]]) -> str:
    if not cautions:
        return ""
    items = "".join(f"<dt>{escape(title)}</dt><dd>{escape(text)}</dd>" for title, text in cautions)
    return f'<section class="cautions" aria-label="Cautions"><h2>Cautions</h2><dl>{items}</dl></section>\n'


def _checked_heads(heads: Mapping[str, Mapping[str, Any]]) -> Mapping[str, Mapping[str, Any]]:
    for stream, head in heads.items():
        fits = set(head) == {"seq", "hash"} and type(head["seq"]) is int and type(head["hash"]) is str
        if not fits:
            raise RunError(
                f'The head of the stream "{stream}" cannot be printed',
                allowed='{"seq": whole number, "hash": text}',
                code="page.heads",
            )
    return heads


def _check_figures(page: str, notebook: Mapping[str, Any]) -> None:
    in_notebook = count_figures(notebook)
    in_page = page.count('<script type="application/json" data-figure="')
    if in_notebook != in_page:
        raise RunError(
            f"The notebook holds {in_notebook} figures but the page {in_page}; a page that lost one is not written",
            mend="report it: this is a fault of the kit",
            code="page.figures_dropped",
        )
