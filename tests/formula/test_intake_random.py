"""Any formula, written as any sheet a person might write, is read back as that formula; any text is read or refused."""

from __future__ import annotations

import csv
import io
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.errors import KitError
from kit.formula.composition import apportion
from kit.formula.intake import import_formula, paste_formula
from kit.formula.intake_numbers import Marks, exact
from kit.formula.library import load_library

LIBRARY = load_library()
KEYS = sorted(key for key in LIBRARY.materials if key != "water-deionised")
HEADERS = {
    "phase": ("Phase", "PHASE", "Part", "Teil"),
    "name": (
        "Material",
        "Raw material",
        "Ingredient",
        "Rohstoff",
        "Matière première",
        "matiere premiere",
        "Trade name",
    ),
    "pct": ("%", "% w/w", "wt.%", "Gew.-%", "Anteil (%)", "% (m/m)", "Percent", "Quantité (%)"),
    "grams": ("g", "g per batch", "Mass (g)", "Einwaage [g]", "Quantité (g)", "Weight, g", "g/batch"),
}
STYLES = st.fixed_dictionaries(
    {
        "mark": st.sampled_from(".,"),
        "delimiter": st.sampled_from(";\t|,"),
        "unit": st.sampled_from(("pct", "grams")),
        "sign": st.booleans(),
        "headings": st.booleans(),
        "totals": st.booleans(),
        "title": st.booleans(),
        "blank": st.booleans(),
        "qs": st.sampled_from(("q.s.", "qs to 100", "ad 100", "QSP 100", "balance", "")),
        "order": st.permutations(("phase", "name", "amount")),
        "header": st.integers(0, 10),
    }
)


@st.composite
def formulas(draw):
    """Lines as (phase, key, hundredths of a percent), the first one water that takes the rest."""
    count = draw(st.integers(2, 12))
    keys = draw(st.lists(st.sampled_from(KEYS), min_size=count, max_size=count))
    hundredths = draw(st.lists(st.integers(1, 800), min_size=count, max_size=count))
    cuts = sorted(draw(st.lists(st.integers(1, count), min_size=2, max_size=2)))
    letters = ["A" if place < cuts[0] else "B" if place < cuts[1] else "C" for place in range(count)]
    lines = [
        (letter, key, Decimal(part).scaleb(-2)) for letter, key, part in zip(letters, keys, hundredths, strict=True)
    ]
    return [("A", "water-deionised", 100 - sum(pct for _, _, pct in lines)), *lines]


def written(number: Decimal, style) -> str:
    return format(number, "f").replace(".", style["mark"])


def rows_of(lines, style):
    """The rows of a sheet in a style: phase, material and amount, headings and totals as asked for."""
    grams = style["unit"] == "grams"
    headers = HEADERS[style["unit"]]
    head = {
        "phase": "" if style["headings"] else HEADERS["phase"][style["header"] % 4],
        "name": HEADERS["name"][style["header"] % 7],
        "amount": headers[style["header"] % len(headers)],
    }
    if style["title"]:
        yield {"name": "Invented rinse, not for use"}
    yield head
    last = ""
    for place, (phase, key, pct) in enumerate(lines):
        if phase != last and style["headings"]:
            yield {"name": f"Phase {phase}"}
        amount = written(pct * 4 if grams else pct, style) + (" %" if style["sign"] and not grams else "")
        if place == 0 and style["qs"] and not grams:
            amount = style["qs"]
        shown = "" if style["headings"] or (phase == last and style["blank"]) else phase
        yield {"phase": shown, "name": LIBRARY.materials[key].name, "amount": amount}
        last = phase
    if style["blank"]:
        yield {}
    if style["totals"]:
        yield {"name": "Total", "amount": written(Decimal(400 if grams else 100), style)}


def csv_text(lines, style) -> str:
    out = io.StringIO()
    writer = csv.writer(out, delimiter=style["delimiter"], lineterminator="\r\n")
    for row in rows_of(lines, style):
        writer.writerow([row.get(name, "") for name in style["order"]])
    return out.getvalue()


@settings(max_examples=120, deadline=None)
@given(lines=formulas(), style=STYLES)
def test_any_formula_in_any_style_comes_back(tmp_path_factory, lines, style):
    text = csv_text(lines, style)
    path = tmp_path_factory.mktemp("sheet") / "sheet.csv"
    path.write_text(text, encoding="utf-8", newline="")
    preview = import_formula(path, LIBRARY)
    assert preview.refused == (), text
    found = [
        (phase.name, line.material.key, preview.formula.qs_pct if line.qs else line.pct)
        for phase, line in preview.formula.placed_lines()
    ]
    assert found == lines
    marked = bool(style["qs"]) and style["unit"] == "pct"
    assert [line.qs for _, line in preview.formula.placed_lines()] == [marked, *[False] * (len(lines) - 1)]


@settings(max_examples=100, deadline=None)
@given(
    text=st.text(
        alphabet=st.sampled_from("AaB;,.\t|\n\"'0123456789% gqs()-Phase TotalGlycerinWaterMaterial%\u00a0€髪"),
        max_size=200,
    )
)
def test_any_text_is_read_or_refused_in_words(text):
    try:
        preview = paste_formula(text, LIBRARY)
    except KitError as problem:
        assert problem.code.startswith(("table.", "intake.", "formula.")) and problem.mend
    else:
        assert preview.ok == (preview.formula is not None)
        assert preview.ok != bool(preview.refused)


@settings(max_examples=300, deadline=None)
@given(
    whole=st.integers(0, 10**7),
    places=st.integers(0, 4),
    mark=st.sampled_from(".,"),
    part=st.sampled_from((" ", "'", "o", "")),
)
def test_a_number_with_or_without_thousands_is_that_number(whole, places, mark, part):
    number = Decimal(whole).scaleb(-places)
    left, _, right = format(number, "f").partition(".")
    part = {"o": "." if mark == "," else ","}.get(part, part)
    digits = f"{int(left):,}".replace(",", part) + (mark + right if right else "")
    assert exact(digits, Marks(mark, True), "test") == number


def test_a_comma_before_three_digits_is_two_numbers_unless_declared():
    with pytest.raises(KitError) as caught:
        exact("1,234", Marks(",", False), "test")
    assert caught.value.code == "units.ambiguous_comma"
    assert exact("1,234", Marks(",", True), "test") == Decimal("1.234")
    assert exact("1,234", Marks(".", True), "test") == 1234
    assert exact("0,125", Marks(",", False), "test") == Decimal("0.125")  # no thousands begin with a nought


@settings(max_examples=60, deadline=None)
@given(masses=st.lists(st.integers(1, 10**6), min_size=2, max_size=20))
def test_grams_always_make_100_and_no_line_moves_more_than_the_last_decimal(masses):
    """Checked by whole numbers: p is the share of m in the sum s when 100 m - p s stays below s times the last step."""
    names = [LIBRARY.materials[key].name for key in KEYS[: len(masses)]]
    rows = [f"{name};{Decimal(mass).scaleb(-2)}" for name, mass in zip(names, masses, strict=True)]
    formula = paste_formula("\n".join(["Material;g", *rows]), LIBRARY).formula
    by_key = {line.material.key: line.pct for _, line in formula.placed_lines()}
    assert sum(by_key.values()) == 100
    for key, mass in zip(KEYS, masses, strict=False):
        assert abs(100 * mass - by_key[key] * sum(masses)) <= Decimal("0.0001") * sum(masses)


def test_the_largest_remainders_take_what_is_left_over():
    """By hand: 100/7 is 14.2857; seven times 14.28 is 99.96, so four of the seven take a hundredth more."""
    from fractions import Fraction

    parts = apportion([Fraction(100, 7)] * 7, Decimal(100), 2)
    assert sorted(parts) == [Decimal("14.28")] * 3 + [Decimal("14.29")] * 4
