"""The page as text. Referees: Python's own HTML parser, hashlib, numpy's array decoding, plotly's version.

The hash of the bundled plotly.js is that of the file `plotly-cartesian.min.js` in the npm package
`plotly.js-cartesian-dist-min` 4.1.1 (MIT), taken with sha256sum from the unpacked package.
"""

from __future__ import annotations

import base64
import copy
import gzip
import hashlib
import json
import re
from html.parser import HTMLParser
from importlib.resources import files

import numpy
import pytest

from kit.errors import RecordError, RunError
from kit.labbook.printed_heads import read_heads
from kit.writeup.figure_numbers import numbers_of, unpack
from kit.writeup.page import make_page
from kit.writeup.page_figures import FIGURE, PLOTLY_JS_VERSION
from kit.writeup.page_text import clean_html

NPM_SHA256 = "79542150855a52c567260e3137095dbe2b744e6d702a5cabe67da246942fba7a"
HEADS = {"study/LIN": {"seq": 12, "hash": "cd" * 32}, "batch/LIN-03/1": {"seq": 44, "hash": "ef" * 32}}
VOID = {"meta", "br", "img", "hr", "col", "link", "input"}


class Tree(HTMLParser):
    """What a page is made of: elements with their attributes, words, scripts; and whether the tags close in order."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict]] = []
        self.words: list[str] = []
        self.scripts: list[tuple[dict, str]] = []
        self._open: list[str] = []
        self.feed(text)
        self.close()
        assert self._open == []

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag == "script":
            self.scripts.append((dict(attrs), ""))
        if tag not in VOID:
            self._open.append(tag)

    def handle_endtag(self, tag):
        assert self._open.pop() == tag

    def handle_data(self, data):
        if self._open and self._open[-1] == "script":
            attributes, text = self.scripts[-1]
            self.scripts[-1] = (attributes, text + data)
        elif self._open and self._open[-1] != "style":
            self.words.append(data)

    def named(self, tag: str) -> list[dict]:
        return [attributes for name, attributes in self.elements if name == tag]

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


def output(**data) -> dict:
    return {
        "output_type": "display_data",
        "metadata": {},
        "data": {key.replace("__", "/"): value for key, value in data.items()},
    }


def figure(*traces, **layout) -> dict:
    return {"output_type": "display_data", "metadata": {}, "data": {FIGURE: {"data": list(traces), "layout": layout}}}


LINE = {"type": "scatter", "x": [1, 24], "y": [9000.0, 19000.0], "name": "LIN-03"}


def executed(*cells: str | dict | list) -> dict:
    """A notebook as a run leaves it: text for Markdown, an output or a list of them for a code cell."""
    built = [
        {"cell_type": "code", "source": "trial = 'x'", "metadata": {"tags": ["injected-parameters"]}, "outputs": []}
    ]
    for cell in cells:
        if isinstance(cell, str):
            built.append({"cell_type": "markdown", "source": cell, "metadata": {}})
        else:
            outputs = cell if isinstance(cell, list) else [cell]
            built.append({"cell_type": "code", "source": "secret_code()", "metadata": {}, "outputs": outputs})
    run = {"template": "trial_writeup", "title": "Trial write-up", "question": "What was made?",
        "template_sha256": "ab" * 32,
           "parameters": {"trial": "LIN-03", "ages": None}, "packages": {"plotly": "7.1.0"}}  # fmt: skip
    return {"cells": built, "metadata": {"kit": run}, "nbformat": 4, "nbformat_minor": 5}


def page_of(*cells, title="Linden LIN-03", cautions=(), heads=HEADS, **provenance) -> str:
    return make_page(executed(*cells), title=title, provenance=provenance, cautions=cautions, heads=heads)


def refusal(*cells) -> RunError:
    with pytest.raises(RunError) as caught:
        page_of(*cells)
    return caught.value


# --- the drawing library


def test_the_bundled_library_is_the_published_one_packed_without_a_date():
    packed = files("kit.data").joinpath(f"plotly-cartesian-{PLOTLY_JS_VERSION}.min.js.gz").read_bytes()
    raw = gzip.decompress(packed)
    assert hashlib.sha256(raw).hexdigest() == NPM_SHA256
    assert packed[4:8] == b"\0\0\0\0"  # RFC 1952, section 2.3: MTIME 0 means no time stamp
    assert packed[3] == 0  # FLG 0: no file name, no comment
    assert f"v{PLOTLY_JS_VERSION}".encode() in raw[:200]
    assert "Permission is hereby granted" in files("kit.data").joinpath("plotly-cartesian.LICENSE").read_text()


def test_the_page_draws_with_the_version_the_figures_were_made_for():
    import plotly.offline

    assert plotly.offline.get_plotlyjs_version() == PLOTLY_JS_VERSION


# --- the whole page


def test_the_policy_names_the_hashes_of_exactly_the_scripts_that_run():
    page = page_of(figure(LINE))
    tree = Tree(page)
    (policy,) = [meta["content"] for meta in tree.named("meta") if meta.get("http-equiv") == "Content-Security-Policy"]
    (boot,) = [text for attributes, text in tree.scripts if not attributes]
    (packed,) = [text for attributes, text in tree.scripts if attributes.get("id") == "plotly-packed"]
    expected = [hashlib.sha256(text).digest() for text in (boot.encode(), gzip.decompress(base64.b64decode(packed)))]
    hashes = " ".join(f"'sha256-{base64.b64encode(one).decode()}'" for one in expected)
    assert dict(rule.split(" ", 1) for rule in policy.split("; ")) == {
        "default-src": "'none'", "script-src": hashes, "style-src": "'unsafe-inline'", "img-src": "data: blob:",
        "base-uri": "'none'", "form-action": "'none'",
    }  # fmt: skip
    kinds = {attributes.get("type") for attributes, _ in tree.scripts}
    assert kinds == {None, "text/plain", "application/json"}


def test_nothing_in_the_page_points_outside():
    page = page_of(
        "[paper](https://doi.org/10.1000/1)", figure(LINE), output(text__html="<a href='https://a.example/'>a</a>")
    )
    for tag, attributes in Tree(page).elements:
        for name in ("src", "href", "action", "data", "srcset", "poster"):
            value = attributes.get(name, "#")
            assert value.startswith(("#", "data:image/")), (tag, value)
    styles = re.findall(r"<style>(.*?)</style>", page, re.DOTALL)
    assert not re.search(r"url\(|@import|http", "".join(styles))
    assert Tree(page).text.count("(https://") == 2  # the addresses are still there to read


def test_without_a_figure_no_script_is_carried():
    page = page_of("Just text.")
    assert "plotly-packed" not in page and len(page) < 20_000
    assert "script-src 'none'" in page and '<body data-ready="true">' in page


def test_the_page_has_one_title_landmarks_and_a_language():
    page = page_of("# Notebook's own\n\n## First\n\n### Deep", "## Second *part*", title="T & <T>")
    tree = Tree(page)
    assert [attributes["lang"] for attributes in tree.named("html")] == ["en"]
    assert [len(tree.named(tag)) for tag in ("h1", "main", "header", "footer", "nav")] == [1, 1, 1, 1, 1]
    assert "T & <T>" in tree.text and "<T>" not in page
    assert re.findall(r'<a href="#(sec-\d)">(.*?)</a>', page) == [("sec-1", "First"), ("sec-2", "Second part")]
    assert {"sec-1", "sec-2"} <= {attributes.get("id") for attributes in tree.named("h2")}
    assert len(tree.named("h3")) == 1


@pytest.mark.parametrize(
    ("cells", "levels"),
    [(["# A", "# B", "## C"], "223"), (["### A", "#### B"], "23"), (["# Linden LIN-03", "## A"], "2"),
     (["# Own", "# Own"], "22"),
     (["###### A", "# B", "# C"], "622")],
)  # fmt: skip
def test_headings_of_a_notebook_fall_in_below_the_title(cells, levels):
    found = re.findall(r"<main.*</main>", page_of(*cells), re.DOTALL)[0]
    assert "".join(re.findall(r"<h(\d)", found)) == levels


def test_cautions_come_before_the_results_as_plain_text():
    page = page_of("Results.", cautions=[("Eyes & skin", "Wear <b>goggles</b>.")])
    assert "Wear &lt;b&gt;goggles&lt;/b&gt;." in page and "Eyes &amp; skin" in page
    assert page.index("Eyes &amp; skin") < page.index("Results.")
    assert "Cautions" not in Tree(page_of("Results.")).text


def test_the_end_says_what_the_page_rests_on_and_how_far_that_goes():
    text = Tree(page_of("x", snapshot_sha256="12" * 32, kit_version="0.1.0", bench="bench 2")).text
    for said in ("trial_writeup", "ab" * 32, "12" * 32, "0.1.0", "bench 2", "study/LIN", "44", "ef" * 32,
                 "Parameter trial", "not given", "plotly 7.1.0", "edits made outside the kit",
                 "rebuilds the whole chain", '"correct"'):  # fmt: skip
        assert said in text, said
    assert "NOT RECORDED" not in text
    assert Tree(page_of("x")).text.count("NOT RECORDED") == 2  # neither snapshot nor version was given


def test_a_figure_carries_its_method_line_and_its_footnotes_once_and_unobeyed():
    """The drawing gives up its own title where the caption says it; typed text in a footnote is text."""
    title, method = "Viscosity at 72 h: R&D?", "viscosity: disc 5, <10 rpm>"
    drawn = "<b>Viscosity at 72 h: R&amp;D?</b><br><span style='x'>viscosity: disc 5, &lt;10 rpm&gt;</span>"
    meta = {"kit": {"title": title, "subtitle": method, "footnotes": ["a: LIN-05/1, <img src=x>"]}}
    page = page_of(figure(LINE, title=drawn, meta=meta))
    assert page.count("Viscosity at 72 h: R&amp;D?") == 2  # the caption, and the words for who does not see it
    assert '<span class="method">viscosity: disc 5, &lt;10 rpm&gt;</span>' in page
    assert '<ul class="footnotes"><li>a: LIN-05/1, &lt;img src=x&gt;</li></ul>' in page
    (layout,) = [json.loads(text)["layout"] for text in re.findall(r'data-figure="[^"]*">(.*?)</script>', page)]
    assert "title" not in layout


def test_a_sheet_says_so_and_has_its_origin_in_one_line():
    notebook = executed("x")
    notebook["metadata"]["kit"]["layout"] = "sheet"
    options = {"title": "T", "provenance": {"kit_version": "0.1.0"}, "cautions": [], "heads": {}}
    page = make_page(notebook, **options)
    assert '<body data-ready="true" class="sheet">' in page
    assert f'<p class="stamp">Kit 0.1.0; SHA-256: template {"ab" * 8}, snapshot NOT RECORDED</p>' in page
    assert 'class="stamp"' not in make_page(executed("x"), **options)


def test_code_is_not_shown_and_printed_text_is():
    page = page_of({"output_type": "stream", "name": "stdout", "text": "smallest \x1b[1mdifference\x1b[0m <1>\n"})
    assert "secret_code" not in page and "<pre>smallest difference &lt;1&gt;</pre>" in page
    plain = {"output_type": "execute_result", "data": {"text/plain": ["4", "2"]}, "metadata": {}, "execution_count": 1}
    assert "<pre>42</pre>" in page_of(plain)


def test_the_same_input_gives_the_same_bytes_and_is_not_changed():
    notebook = executed("## A", figure(LINE, title="T", meta={"kit": {"title": "x"}}), output(text__html="<p>b</p>"))
    before = copy.deepcopy(notebook)
    shuffled = json.loads(json.dumps(notebook, sort_keys=True))
    options = {"title": "T", "provenance": {"b": "1", "a": "2"}, "cautions": []}
    first = make_page(notebook, heads=HEADS, **options)
    assert first == make_page(shuffled, heads=dict(reversed(HEADS.items())), **options)
    assert notebook == before


def test_characters_html_cannot_hold_do_not_break_the_page():
    page = page_of("a\x00b \ud800 c", {"output_type": "stream", "name": "stdout", "text": "\x07 \ufffe"})
    page.encode("utf-8")
    assert "\x00" not in page and "\x07" not in page


# --- figures


def test_each_figure_has_a_place_a_caption_numbers_and_an_island():
    carried = {
        "title": "By batch",
        "columns": ["Batch", "mPa s"],
        "rows": [["A<1>", 19000]],
        "note": "Disc 5.",
        "summary": "One bar.",
    }
    page = page_of(
        figure(LINE, title={"text": "Viscosity<br>over age"}),
        figure({"type": "bar", "y": [1]}, meta={"kit": carried, "own": 1}),
    )
    tree = Tree(page)
    places = [attributes for attributes in tree.named("div") if attributes.get("class") == "plot"]
    assert [place["id"] for place in places] == ["fig-1", "fig-2"]
    assert all(place["role"] == "img" for place in places)
    assert places[1]["aria-label"] == "One bar." and "LIN-03" in places[0]["aria-label"]
    assert "Figure 1. Viscosity over age" in tree.text and "Figure 2. By batch" in tree.text
    islands = [json.loads(text) for attributes, text in tree.scripts if "data-figure" in attributes]
    assert [island["data"][0]["y"] for island in islands] == [[9000.0, 19000.0], [1]]
    assert "title" not in islands[0]["layout"]  # the caption says it
    assert islands[1]["layout"]["meta"] == {"own": 1}  # the table is in the page once
    assert "A&lt;1&gt;" in page and "Disc 5." in tree.text
    assert len(tree.named("details")) == 2 and all("open" in attributes for attributes in tree.named("details"))
    assert len(tree.named("noscript")) == 2


def test_an_island_cannot_be_left_early():
    name = "</script><script>alert(1)</script><!-- \u2028 \u2029 &lt;"
    page = page_of(figure({**LINE, "name": name}))
    (text,) = [text for attributes, text in Tree(page).scripts if "data-figure" in attributes]
    assert json.loads(text)["data"][0]["name"] == name
    assert not set("<>&\u2028\u2029") & set(text)


def test_numbers_that_are_none_become_null():
    page = page_of(figure({**LINE, "y": [float("nan"), float("inf")]}))
    (text,) = [text for attributes, text in Tree(page).scripts if "data-figure" in attributes]
    assert json.loads(text)["data"][0]["y"] == [None, None]


@pytest.mark.parametrize("dtype", ["i1", "u1", "i2", "u2", "i4", "u4", "f4", "f8"])
@pytest.mark.parametrize("shape", [(6,), (2, 3)])
def test_packed_arrays_are_read_as_numpy_reads_them(dtype, shape):
    array = numpy.array([0, 1, 2, 3, 100, 7], dtype=f"<{dtype}").reshape(shape)
    packed = {"dtype": dtype, "bdata": base64.b64encode(array.tobytes()).decode(), "shape": ", ".join(map(str, shape))}
    if len(shape) == 1:
        del packed["shape"]
    assert unpack(packed) == array.tolist()


def test_plotlys_own_packing_is_read_back():
    import plotly.graph_objects as go

    drawn = json.loads(go.Figure(go.Scatter(x=numpy.array([1, 24, 72]), y=numpy.array([4.5, 4.55, 4.6]))).to_json())
    assert "bdata" in drawn["data"][0]["x"]  # plotly did pack it
    assert numbers_of(drawn, "f").rows == (("1", "4.5"), ("24", "4.55"), ("72", "4.6"))


@pytest.mark.parametrize(
    ("traces", "layout", "columns", "rows"),
    [
        ([LINE], {"xaxis": {"title": {"text": "Age, h"}}, "yaxis": {"title": "mPa s"}}, ("Age, h", "mPa s"),
         (("1", "9000"), ("24", "19000"))),
        ([LINE, {**LINE, "name": "LIN-06", "y": [1.25, None]}], {}, ("x", "LIN-03", "LIN-06"),
         (("1", "9000", "1.25"), ("24", "19000", "–"))),
        ([LINE, {**LINE, "name": None, "x": [2]}], {}, ("Series", "x", "y"),
         (("LIN-03", "1", "9000"), ("LIN-03", "24", "19000"), ("Series 2", "2", "9000"), ("Series 2", "–", "19000"))),
        ([{**LINE, "error_y": {"array": [400, 800]}}], {}, ("x", "y", "± y"),
         (("1", "9000", "400"), ("24", "19000", "800"))),
        ([{"type": "bar", "y": [5]}], {}, ("x", "y"), (("0", "5"),)),
        ([{"type": "box", "y": [4.5, 4.6], "name": "A"}], {}, ("y",), (("4.5",), ("4.6",))),
        ([{"type": "heatmap", "z": [[1, 2], [3, 4]], "x": ["a", "b"]}], {}, ("x", "y", "z"),
         (("a", "0", "1"), ("b", "0", "2"), ("a", "1", "3"), ("b", "1", "4"))),
        ([{"type": "pie", "labels": ["a"], "values": [2]}], {}, ("Label", "Value"), (("a", "2"),)),
    ],
)  # fmt: skip
def test_numbers_are_read_from_the_traces(traces, layout, columns, rows):
    numbers = numbers_of({"data": traces, "layout": layout}, "Figure 1")
    assert (numbers.columns, numbers.rows) == (columns, rows)


def test_tables_of_numbers_have_heads_and_numbers_to_the_right():
    page = page_of(figure({"type": "bar", "x": ["a", "b"], "y": [1.5, None]}))
    table = re.search(r"<details.*?</details>", page, re.DOTALL)[0]
    assert table.count('scope="col"') == 2 and table.count('scope="row"') == 2
    assert (
        '<th scope="col" class="r">y</th>' in table
        and '<td class="r">1.5</td>' in table
        and '<th scope="row">a</th>' in table
    )


def test_a_figure_that_cannot_be_shown_whole_refuses_the_page():
    assert refusal(figure({"type": "scatter3d", "x": [1]})).code == "page.figure_kind"
    assert refusal(figure(LINE, images=[{"source": "https://a.example/x.png"}])).code == "page.figure_remote"
    assert refusal(figure(LINE, meta={"kit": {"columns": ["a"], "rows": [[1, 2]]}})).code == "page.figure_numbers"
    assert refusal(figure({"type": "scatter"})).code == "page.figure_numbers"
    as_script = "<div class='plotly-graph-div' id='x'></div><script>Plotly.newPlot('x')</script>"
    assert refusal("text", output(text__html=as_script)).code == "page.figure_lost"


def test_a_dropped_figure_is_noticed(monkeypatch):
    monkeypatch.setattr("kit.writeup.page_outputs.figure_html", lambda figure, number: "")
    error = refusal(figure(LINE))
    assert error.code == "page.figures_dropped" and "1 figures" in error.what and "page 0" in error.what


# --- outputs that refuse the page


@pytest.mark.parametrize(
    ("shown", "code", "said"),
    [
        (
            {"output_type": "error", "ename": "ValueError", "evalue": "no\nway", "traceback": []},
            "page.error_output",
            "no way",
        ),
        ({"output_type": "stream", "name": "stderr", "text": "UserWarning: x\n"}, "page.stderr", "UserWarning: x"),
        (output(**{"application__vnd.jupyter.widget-view+json": {}, "text__plain": "W"}), "page.widget", "widget"),
        (
            output(**{"application__javascript": "alert(1)", "text__plain": "JS"}),
            "page.output_kind",
            "application/javascript",
        ),
        (output(**{"application__vnd.vega.v5+json": {}}), "page.output_kind", "vega"),
        (output(), "page.output_kind", "nothing"),
    ],
)
def test_an_output_a_page_cannot_show_refuses_it_and_names_the_cell(shown, code, said):
    error = refusal("first", shown)
    assert error.code == code and said in error.what and error.where == "cell 2"


def test_pictures_are_carried_and_described():
    pixel = "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
    tree = Tree(
        page_of(output(image__png=pixel + "\n", text__plain="<Figure>"), output(**{"image__svg+xml": "<svg/>"}))
    )
    first, second = tree.named("img")
    assert first["src"] == f"data:image/png;base64,{pixel}" and first["alt"]
    assert base64.b64decode(second["src"].split(",")[1]) == b"<svg/>"


# --- typed text


def test_markdown_shows_raw_html_and_does_not_obey_it(hostile):
    page = page_of(
        f"A note: {hostile}\n\n<div onclick='x()'>block</div>\n\n[a](javascript:alert(1)) ![p](http://a.example/p.png)"
    )
    main = re.search(r"<main.*</main>", page, re.DOTALL)[0]
    tree = Tree(main)
    assert tree.scripts == [] and tree.named("img") == [] and tree.named("a") == []
    assert all(not name.startswith("on") for _, attributes in tree.elements for name in attributes)
    assert "<img src=x onerror=" in tree.text and "picture left out" in tree.text


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("<b onclick=x>a</b><script>1</script><style>p{}</style>", "<b>a</b>"),
        (
            "<a href=' javascript:x'>a</a><a href='other.html'>b</a><a href='#t'>c</a>",
            '<a>a</a><a>b</a><a href="#t">c</a>',
        ),
        ("<a href='https://a.example/?x=1&y=2'>d</a>", "d (https://a.example/?x=1&amp;y=2)"),
        ("<iframe src=x></iframe><form action=x><input></form><svg onload=x></svg><object></object>e", "e"),
        ("<p style='color:red;position:fixed;background:url(http://a/)'>f</p>", '<p style="color:red">f</p>'),
        ("<p id='plotly-packed'>g</p><p id='fig-1'>h</p><p id='own'>i</p>", '<p>g</p><p>h</p><p id="own">i</p>'),
        ("<p class='plot own'>j</p>", '<p class="own">j</p>'),
        ("<img src='data:text/html,x'><img src='https://a/'>", "[picture left out][picture left out]"),
        ("<h1>k</h1>", "<h3>k</h3>"),
        ("a < b & c &eacute; &#8211; <", "a &lt; b &amp; c é – &lt;"),
        ("<base href=//a><meta http-equiv=refresh content=0><link rel=x href=//a>l", "l"),
        ("<p>open <b>un<p>closed", "<p>open <b>un</b></p><p><b>closed</b></p>"),
    ],
)
def test_html_outputs_pass_an_allow_list(given, kept):
    assert clean_html(given) == kept


def test_tables_keep_what_makes_them_tables():
    table = (
        '<table class="kit" style="border-collapse:collapse" id="t-1"><caption>C</caption>'
        '<thead><tr><th colspan="2">a</th></tr></thead>'
        '<tbody><tr><th>r</th><td style="text-align:right" rowspan="1">1</td></tr></tbody></table>'
    )
    cleaned = clean_html(table)
    for part in ('class="kit"', 'id="t-1"', "<caption>C</caption>", 'colspan="2" scope="col"', '<th scope="row">',
                 'rowspan="1"',
                 'style="text-align:right"'):  # fmt: skip
        assert part in cleaned
    assert cleaned.startswith('<div class="wide"') and cleaned.endswith("</table></div>")


def test_the_kits_own_tables_come_through_whole():
    from kit.show import Cell, Table

    rows = [["Aqua", "80.25", Cell("FAIL", "fail")], ["<img src=x>", "1", ""]]
    html = Table(["Material", "%", "Result"], rows, title="Meant", note="Sum.", numeric=frozenset({1}))._repr_html_()
    assert Tree(clean_html(html)).text == Tree(html).text
    assert {value for _, attributes in Tree(html).elements for value in attributes} - {
        "role",
        "tabindex",
        "aria-label",
    } <= {value for _, attributes in Tree(clean_html(html)).elements for value in attributes}
    assert "color:#9a1c13" in clean_html(html)


# --- heads


def test_heads_are_read_back_as_written():
    assert read_heads(page_of("x")) == HEADS
    odd = {"batch/</script> & 'ü' \u2028": {"seq": 0, "hash": ""}}
    assert read_heads(page_of(figure(LINE), heads=odd)) == odd
    assert read_heads(page_of("x", heads={})) == {}


def test_typed_text_cannot_pose_as_heads():
    forged = '<script type="application/json" id="record-heads">{"study/LIN": {"seq": 1, "hash": "00"}}</script>'
    stream = {"output_type": "stream", "name": "stdout", "text": forged}
    page = page_of(
        forged,
        output(text__html=forged),
        stream,
        figure({**LINE, "name": forged}),
        cautions=[(forged, forged)],
        note=forged,
    )
    assert read_heads(page) == HEADS


@pytest.mark.parametrize("text", ["", "<p>", '<script type="application/json" id="record-heads">{</script>',
                                  '<script type="application/json" id="record-heads">[1]</script>'])  # fmt: skip
def test_a_page_without_heads_says_so(text):
    with pytest.raises(RecordError) as caught:
        read_heads(text)
    assert caught.value.code == "labbook.no_heads"


@pytest.mark.parametrize(
    "head", [{"seq": "1", "hash": "x"}, {"seq": 1}, {"seq": 1, "hash": "x", "at": "y"}, {"seq": True, "hash": "x"}]
)
def test_heads_of_another_form_are_refused(head):
    with pytest.raises(RunError) as caught:
        page_of("x", heads={"s": head})
    assert caught.value.code == "page.heads"


def test_a_parameter_left_empty_is_not_given_and_one_that_is_nought_is():
    from kit.writeup.page_origin import origin_html

    given = {"at": "", "age": None, "trials": [], "margin": ["20 %", "pH: 0.1"], "seed": 0, "cost": False}
    facts = {"kit_version": "0.1.0", "snapshot_sha256": "12" * 32}
    run = {"kit": {"template": "compare_versions", "template_sha256": "ab" * 32, "parameters": given}}
    text = Tree(origin_html({"metadata": run}, facts, {})).text
    assert "NOT RECORDED" not in text
    for name in ("at", "age", "trials"):
        assert re.search(rf"Parameter {name}\s*not given", text), name
    assert re.search(r"Parameter seed\s*0", text) and re.search(r"Parameter cost\s*no", text)
    assert "20 %, pH: 0.1" in text
