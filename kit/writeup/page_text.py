"""Text in a page: Markdown with its raw HTML shown and not obeyed, HTML outputs through an allow-list.

Nothing that is typed at the bench can become a script, a request to a network, or a part of the page's own frame.
"""

from __future__ import annotations

import re
from functools import lru_cache
from html.parser import HTMLParser
from typing import Any

from kit.show import escape

TAGS = {
    "a", "abbr", "b", "blockquote", "br", "caption", "code", "col", "colgroup", "dd", "del", "details", "div", "dl",
    "dt", "em", "h1", "h2", "h3", "h4", "h5", "h6", "hr", "i", "img", "li", "ol", "p", "pre", "s", "small", "span",
    "strong", "sub", "summary", "sup", "table", "tbody", "td", "tfoot", "th", "thead", "tr", "u", "ul",
}  # fmt: skip
ATTRIBUTES = {
    "*": {"class", "id", "style", "title", "lang", "dir"},
    "a": {"href"},
    "img": {"src", "alt", "width", "height"},
    "td": {"colspan", "rowspan", "headers"},
    "th": {"colspan", "rowspan", "headers", "scope", "abbr"},
    "col": {"span"},
    "colgroup": {"span"},
    "ol": {"start", "type", "reversed"},
    "details": {"open"},
}
STYLES = {
    "background", "background-color", "border", "border-bottom", "border-collapse", "border-color", "border-left",
    "border-right", "border-spacing", "border-style", "border-top", "border-width", "color", "font-family", "font-size",
    "font-style", "font-variant-numeric", "font-weight", "height", "letter-spacing", "line-height", "margin",
    "margin-bottom", "margin-left", "margin-right", "margin-top", "max-width", "min-width", "overflow-wrap",
    "overflow-x", "padding", "padding-bottom", "padding-left", "padding-right", "padding-top", "text-align",
    "text-decoration", "text-indent", "vertical-align", "white-space", "width",
}  # fmt: skip
_OWN_IDS = re.compile(r"fig-|sec-|plotly-packed$|record-heads$|content$")
_OWN_CLASSES = {"skip", "plot", "numbers", "cautions", "origin", "contents"}
_PICTURE = re.compile(r"data:image/(?:png|jpeg|gif|webp|svg\+xml)[;,]", re.IGNORECASE)
_ADDRESS = re.compile(r"(?:https?://|mailto:)", re.IGNORECASE)
_UNSAFE_STYLE = re.compile(r"url\s*\(|image-set|expression|\\|@|/\*", re.IGNORECASE)
_VOID = {"br", "col", "hr", "img"}
# What HTML cannot hold: control characters other than tab and line ends, and halves of surrogate pairs.
_UNWRITABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff]")


def writable(text: str) -> str:
    """The text with every character a page cannot hold replaced by the sign for one that is lost."""
    return _UNWRITABLE.sub("\ufffd", text)


def clean_html(text: str) -> str:
    """An HTML fragment without scripts, handlers, remote pictures, odd addresses and the page's own ids.

    Links into the page stay; a link to elsewhere becomes its words with the address in brackets, so that the page
    cannot be used to lead away. Tables may be scrolled sideways, and their heads say what they are heads of.
    """
    return _Finish(shift=2).of(_nh3_clean(text, keep_own_ids=False))


def _nh3_clean(text: str, *, keep_own_ids: bool) -> str:
    import nh3

    def check(tag: str, name: str, value: str) -> str | None:
        if name == "id":
            return value if keep_own_ids or not _OWN_IDS.match(value) else None
        if name == "class":
            return " ".join(word for word in value.split() if word not in _OWN_CLASSES) or None
        if name == "style":
            return _clean_style(value) or None
        if name == "href":
            return value if value.startswith("#") or _ADDRESS.match(value) else None
        if name == "src":
            return value if _PICTURE.match(value) else None
        return value

    return nh3.clean(
        writable(text), tags=TAGS, attributes=ATTRIBUTES, attribute_filter=check, link_rel=None,
        url_schemes={"http", "https", "mailto", "data"}, clean_content_tags={"script", "style", "template", "title"},
    )  # fmt: skip


def _clean_style(style: str) -> str:
    kept = []
    for declaration in style.split(";"):
        name, _, value = declaration.partition(":")
        if name.strip().lower() in STYLES and value.strip() and not _UNSAFE_STYLE.search(value):
            kept.append(f"{name.strip().lower()}:{value.strip()}")
    return ";".join(kept)


class _Finish(HTMLParser):
    """Last pass over clean HTML: heading levels, heads of tables, scrolling, links to elsewhere."""

    def __init__(self, shift: int = 0) -> None:
        super().__init__(convert_charrefs=False)
        self._shift = shift
        self._out: list[str] = []
        self._in_head = False
        self._links: list[str | None] = []

    def of(self, text: str) -> str:
        """The finished text."""
        self.feed(text)
        self.close()
        return "".join(self._out)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag == "a":
            away = given.get("href")
            self._links.append(away if away and not away.startswith("#") else None)
            if self._links[-1]:
                return
        if tag == "table":
            self._out.append('<div class="wide" role="group" tabindex="0" aria-label="Table">')
        if tag == "thead":
            self._in_head = True
        if tag == "th" and "scope" not in given:
            given["scope"] = "col" if self._in_head else "row"
        if tag == "img":
            if "src" not in given:
                self._out.append("[picture left out]")
                return
            given.setdefault("alt", "Picture")
        written = "".join(f' {name}="{escape(value or "")}"' for name, value in given.items())
        self._out.append(f"<{self._level(tag)}{written}>")

    def handle_endtag(self, tag: str) -> None:
        if tag == "a" and self._links:
            address = self._links.pop()
            if address:
                self._out.append(f" ({escape(address)})")
                return
        if tag == "thead":
            self._in_head = False
        if tag not in _VOID:
            self._out.append(f"</{self._level(tag)}>")
        if tag == "table":
            self._out.append("</div>")

    def _level(self, tag: str) -> str:
        if len(tag) == 2 and tag[0] == "h" and tag[1].isdigit():
            return f"h{min(6, int(tag[1]) + self._shift)}"
        return tag

    def handle_data(self, data: str) -> None:
        self._out.append(data)

    def handle_entityref(self, name: str) -> None:
        self._out.append(f"&{name};")

    def handle_charref(self, name: str) -> None:
        self._out.append(f"&#{name};")


@lru_cache(maxsize=1)
def _reader() -> Any:
    from markdown_it import MarkdownIt

    return MarkdownIt("commonmark", {"html": False}).enable(["table", "strikethrough"])


def load_readers() -> None:
    """Load the readers of Markdown and of HTML and make them ready."""
    import nh3  # noqa: F401 - so that it is there when the first table is cleaned

    _reader()


class Headings:
    """Turns Markdown cells into HTML with one heading order for the whole page, and remembers the sections.

    Parameters
    ----------
    sources : list of str   All Markdown cells, in order.
    title : str             The page's title, which is its only first-level heading. A heading that repeats it, and a
                            single first-level heading of the notebook's own, give way to it.
    """

    def __init__(self, sources: list[str], title: str) -> None:
        found = [heading for source in sources for heading in _headings(source)]
        firsts = [text for level, text in found if level == 1]
        self._given_way = {title, *(firsts if len(firsts) == 1 else ())}
        self._shift = 2 - min((level for level, text in found if text not in self._given_way), default=2)
        self.sections: list[tuple[str, str]] = []

    def html(self, source: str) -> str:
        """One cell as HTML."""
        tokens = _reader().parse(source)
        kept, skip = [], 0
        for index, token in enumerate(tokens):
            if skip:
                skip -= 1
            elif token.type == "heading_open" and tokens[index + 1].content in self._given_way:
                skip = 2  # its words and its end
            else:
                kept.append(self._placed(token, tokens, index))
        text = _reader().renderer.render(kept, _reader().options, {})
        return _Finish().of(_nh3_clean(text, keep_own_ids=True))

    def _placed(self, token: Any, tokens: list[Any], index: int) -> Any:
        if token.type not in ("heading_open", "heading_close"):
            return token
        level = max(2, min(6, int(token.tag[1]) + self._shift))
        token.tag = f"h{level}"
        if token.type == "heading_open" and level == 2:
            ident = f"sec-{len(self.sections) + 1}"
            token.attrSet("id", ident)
            self.sections.append((ident, _words(tokens[index + 1])))
        return token


def _headings(source: str) -> list[tuple[int, str]]:
    tokens = _reader().parse(source)
    return [
        (int(token.tag[1]), tokens[index + 1].content)
        for index, token in enumerate(tokens)
        if token.type == "heading_open"
    ]


def _words(inline: Any) -> str:
    """The text of a heading without its markup."""
    return "".join(part.content for part in inline.children or [] if part.type in ("text", "code_inline")).strip()
