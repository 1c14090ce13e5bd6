"""Tables as people keep them: where the header is, what the cells say, and what is refused.

Expected cells are read off the table by eye.
"""

from __future__ import annotations

import io
import zipfile
from datetime import date, datetime, time, timedelta

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.errors import TableError
from kit.tabular import ColumnMap, propose, read_table, split_header
from kit.tabular_map import fold


@pytest.fixture
def workbook(tmp_path):
    """Save rows as a workbook and give its path; a cell may be a pair (value, number format)."""

    def save(rows: list, name: str = "sheet.xlsx", title: str = "Readings", others: dict | None = None):
        book = openpyxl.Workbook()
        sheet = book.active
        sheet.title = title
        for at, row in enumerate(rows, start=1):
            for column, typed in enumerate(row, start=1):
                value, form = typed if isinstance(typed, tuple) else (typed, None)
                cell = sheet.cell(at, column, value)
                if form:
                    cell.number_format = form
        for other, content in (others or {}).items():
            for row in content:
                book.create_sheet(other).append(row)
        path = tmp_path / name
        book.save(path)
        return path

    return save


def cells(table) -> list[tuple[str, ...]]:
    return [row.cells for row in table.rows]


# ---------------------------------------------------------------- text


@pytest.mark.parametrize(
    ("text", "delimiter"),
    [
        ("Sample;pH;Temp\nS1;4,59;25,0\nS2;4,60;25,1\n", ";"),
        ("Sample,pH,Temp\nS1,4.59,25.0\nS2,4.60,25.1\n", ","),
        ("Sample\tpH\tTemp\nS1\t4,59\t25,0\nS2\t4,60\t25,1\n", "\t"),
        ("Sample|pH|Temp\nS1|4,59|25,0\nS2|4,60|25,1\n", "|"),
        ('Code,Name,%\n1,"Water; cooled, boiled",80.5\n2,"Glycerin; 99,5",3\n', ","),
        ("sep=;\nSample;pH;Temp\nS1;4,59;25,0\n", ";"),
    ],
)
def test_the_delimiter_is_the_one_that_cuts_the_lines_alike(text, delimiter):
    table = read_table("pasted", text=text)
    assert table.delimiter == delimiter
    assert len(table.header) == 3
    assert all(len(row.cells) == 3 for row in table.rows)


def test_title_lines_stand_above_the_header_and_rows_keep_their_numbers():
    text = "Rheology report\nOperator: bench 2;;\n\nSample;Visc;Torque\nS1;19000;47,5\n\nS2;18400;46,0\n"
    table = read_table("export.csv", text=text)
    assert table.header == ("Sample", "Visc", "Torque")
    assert (table.header_row, [row.number for row in table.rows]) == (4, [5, 7])
    assert [row.cells[0] for row in table.above] == ["Rheology report", "Operator: bench 2"]
    assert "header in row 4" in table.assumed


def test_known_words_tell_the_header_where_texts_alone_would_not():
    text = "made by,checked by,for,day\npH,value\nbatch one,two,three,four\n"
    assert read_table("x", text=text).header_row == 1
    assert read_table("x", text=text, known=["pH", "value"]).header_row == 2
    assert read_table("x", text=text, header_row=3).header == ("batch one", "two", "three", "four")


def test_spaces_that_do_not_break_are_spaces(tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes("name;mass\n\u00a0Glycerin\u202f;12\u00a0345,5\n".encode())
    assert cells(read_table(path)) == [("Glycerin", "12 345,5")]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-32", "cp1252"])
def test_encodings(tmp_path, encoding):
    path = tmp_path / "a.csv"
    path.write_bytes("Prüfling;Größe\nä;1\n".encode(encoding))
    assert read_table(path).header == ("Prüfling", "Größe")


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "table.empty"),
        (b" \n;;\n", "table.empty"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1", "table.not_text"),
        (b"PK\x03\x04 not a workbook", "table.not_text"),
        (b"%PDF-1.7", "table.not_text"),
        (b"a;b\n1;2\0", "table.encoding"),
        (b'a;b\n"1;2\n', "table.quotes"),
    ],
)
def test_what_is_no_table_is_refused_by_name(tmp_path, content, code):
    path = tmp_path / "a.csv"
    path.write_bytes(content)
    with pytest.raises(TableError) as refused:
        read_table(path)
    assert refused.value.code == code
    assert refused.value.mend


def test_a_header_row_that_is_not_there(tmp_path):
    with pytest.raises(TableError) as refused:
        read_table("x", text="a;b\n1;2\n", header_row=7)
    assert refused.value.code == "table.header"


# ---------------------------------------------------------------- workbooks


def test_cells_of_a_sheet_become_text_that_says_the_same(workbook):
    """5 % is kept as 0.05 and shown as 5.00 %; 0.1 + 0.2 is kept as 0.30000000000000004 and shown as 0.3."""
    rows = [
        ["what", "cell"],
        ["whole", 19000],
        ["decimal", 4.59],
        ["sum", 0.1 + 0.2],
        ["small", 0.00001],
        ["percent", (0.05, "0.00%")],
        ["percent in words", (5, '0.00" %"')],
        ["moment", (datetime(2026, 3, 5, 9, 10, 30), "dd.mm.yyyy hh:mm")],
        ["midnight", (datetime(2026, 3, 5), "dd.mm.yyyy hh:mm")],
        ["day", (date(2026, 3, 5), "dd.mm.yyyy")],
        ["hour", (time(9, 10), "hh:mm")],
        ["span", (timedelta(hours=26, minutes=5), "[h]:mm:ss")],
        ["yes", True],
        ["text", " 4,59 "],
        ["none", None],
    ]
    table = read_table(workbook(rows))
    assert table.typed
    assert [row.cells[1] for row in table.rows] == [
        "19000",
        "4.59",
        "0.3",
        "0.00001",
        "5 %",
        "5",
        "2026-03-05 09:10:30",
        "2026-03-05 00:00:00",
        "2026-03-05",
        "09:10:00",
        "26:05:00",
        "TRUE",
        "4,59",
        "",
    ]
    assert [bool(row.numbers) for row in table.rows] == [True] * 6 + [False] * 8


def test_row_numbers_are_those_of_the_sheet(workbook):
    table = read_table(workbook([["Title"], [], ["a", "b"], [1, 2], [], [3, 4]]))
    assert (table.header_row, [row.number for row in table.rows]) == (3, [4, 6])


def test_a_sheet_is_asked_for_where_several_have_content(workbook):
    path = workbook([["a", "b"], [1, 2]], others={"Other": [["c", "d"]], "Empty": []})
    with pytest.raises(TableError) as refused:
        read_table(path)
    assert refused.value.code == "table.sheet"
    assert refused.value.allowed == "Readings, Other"
    assert read_table(path, sheet="other").header == ("c", "d")
    with pytest.raises(TableError, match="no sheet 'Third'"):
        read_table(path, sheet="Third")


def test_a_formula_without_its_value_is_named_and_one_with_it_is_read(workbook, tmp_path):
    path = workbook([["a", "b"], [1, "=A2+1"]])
    with pytest.raises(TableError) as refused:
        read_table(path)
    assert refused.value.code == "table.formula_value"
    assert "cell B2" in refused.value.where
    calculated = tmp_path / "calculated.xlsx"
    _rewrite(path, calculated, b"<f>A2+1</f><v />", b"<f>A2+1</f><v>2.5</v>")
    assert cells(read_table(calculated)) == [("1", "2.5")]
    nothing = tmp_path / "nothing.xlsx"
    _rewrite(path, nothing, b'<c r="B2"><f>A2+1</f><v />', b'<c r="B2" t="str"><f>A2+1</f><v></v>')
    assert cells(read_table(nothing)) == [("1", "")]


def _rewrite(path, target, old: bytes, new: bytes) -> None:
    """The workbook with a piece of its first sheet replaced."""
    with zipfile.ZipFile(path) as packed, zipfile.ZipFile(target, "w") as out:
        for part in packed.namelist():
            content = packed.read(part)
            if part == "xl/worksheets/sheet1.xml":
                assert old in content
                content = content.replace(old, new)
            out.writestr(part, content)


@pytest.mark.parametrize("cut", [200, 1500, 3000])
def test_a_damaged_workbook_is_refused_in_words(workbook, cut):
    path = workbook([["a", "b"], [1, 2]])
    path.write_bytes(path.read_bytes()[:cut])
    with pytest.raises(TableError) as refused:
        read_table(path)
    assert refused.value.code in ("table.workbook", "table.not_text")


@given(place=st.integers(0, 4000), junk=st.binary(min_size=1, max_size=8))
@settings(max_examples=80, deadline=None)
def test_a_workbook_with_bytes_changed_is_read_or_refused_in_words(tmp_path_factory, place, junk):
    buffer = io.BytesIO()
    book = openpyxl.Workbook()
    book.active.append(["a", "b"])
    book.active.append([1, "x"])
    book.save(buffer)
    data = bytearray(buffer.getvalue())
    place %= len(data)
    data[place : place + len(junk)] = junk
    path = tmp_path_factory.mktemp("junk") / "a.xlsx"
    path.write_bytes(bytes(data))
    try:
        assert read_table(path).rows is not None
    except TableError as error:
        assert error.code.startswith("table.")


# ---------------------------------------------------------------- column maps


@pytest.mark.parametrize(
    ("cell", "words", "unit"),
    [
        ("Visc (cP)", "Visc", "cP"),
        ("Viscosity [mPa·s]", "Viscosity", "mPa·s"),
        ("Temp. °C", "Temp.", "°C"),
        ("Torque %", "Torque", "%"),
        ("Mass / g", "Mass", "g"),
        ("Speed, rpm", "Speed", "rpm"),
        ("Date/Time", "Date/Time", ""),
        ("Phase C", "Phase C", ""),
        ("% w/w", "% w/w", ""),
        ("%", "%", ""),
        ("(g)", "(g)", ""),
    ],
)
def test_a_header_is_cut_into_words_and_unit(cell, words, unit):
    assert split_header(cell) == (words, unit)


def test_a_proposal_takes_the_whole_header_before_a_cut_one_and_ignores_what_fits_nothing():
    known = {"batch": ["sample id"], "value": ["visc"], "temp": ["temp"], "date": ["day", "date"]}
    found = propose(["Sample-ID", "Visc (cP)", "Temp. °C", "Operator", "Day", ""], known, name="trial")
    assert found.columns == {"Sample-ID": "batch", "Visc (cP)": "value", "Temp. °C": "temp", "Day": "date"}
    assert found.units == {"Visc (cP)": "cP", "Temp. °C": "°C"}
    assert found.ignored == ("Operator",)


TEXTS = st.text(st.characters(blacklist_categories=("Cs", "Cc")), min_size=1, max_size=12)


@given(
    columns=st.dictionaries(TEXTS, TEXTS, max_size=4),
    ignored=st.lists(TEXTS, max_size=3),
    words=st.dictionaries(TEXTS, st.dictionaries(TEXTS, TEXTS, max_size=3), max_size=2),
    name=TEXTS,
    row=st.integers(0, 40),
    units_row=st.booleans(),
)
@settings(max_examples=60, deadline=None)
def test_a_map_comes_back_from_its_file_as_it_was(tmp_path_factory, columns, ignored, words, name, row, units_row):
    words = {key: table for key, table in words.items() if table}
    kept = ColumnMap(
        name=name, columns=columns, ignored=tuple(ignored), words=words, header_row=row, units_row=units_row
    )
    path = tmp_path_factory.mktemp("map") / "map.toml"
    assert ColumnMap.load(kept.save(path)) == kept


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("columns = [", "table.map_unreadable"),
        ('colums = {"a" = "b"}', "table.map_key"),
        ('columns = {"a" = 1}', "table.map_value"),
        ("header_row = true", "table.map_value"),
        ('ignored = "a"', "table.map_value"),
        ('words = {"batch" = "a"}', "table.map_value"),
    ],
)
def test_a_map_that_says_something_else_is_refused(tmp_path, text, code):
    path = tmp_path / "map.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(TableError) as refused:
        ColumnMap.load(path)
    assert refused.value.code == code


def test_a_map_is_not_written_over_another_file(tmp_path):
    path = tmp_path / "notes.toml"
    path.write_text("mine = 1", encoding="utf-8")
    with pytest.raises(TableError) as refused:
        ColumnMap(columns={"a": "b"}).save(path)
    assert refused.value.code == "table.map_exists"
    assert path.read_text(encoding="utf-8") == "mine = 1"
    with pytest.raises(TableError) as refused:
        ColumnMap().save(tmp_path / "nowhere" / "map.toml")
    assert refused.value.code == "table.map_unwritable"


def test_a_map_that_does_not_fit_says_what_is_missing_twice_and_new():
    chosen = ColumnMap(columns={"Sample": "batch", "pH": "value", "Temp": "temp"}, ignored=("User",))
    assert chosen.places(["user", "SAMPLE ", "pH", "temp"]) == {1: "batch", 2: "value", 3: "temp"}
    with pytest.raises(TableError) as refused:
        chosen.places(["Sample", "Sample", "pH", "Battery"])
    assert refused.value.code == "table.map_fit"
    told = str(refused.value)
    assert "no column 'Temp'" in told
    assert "more than one column is headed 'Sample'" in told
    assert "what to do with 'Battery'" in told


def test_fold_leaves_what_tells_headers_apart():
    assert fold("RM no.") == fold("rm_NO ") != fold("RM name")
    assert fold("%") == "%"
