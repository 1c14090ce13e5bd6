"""The fact files: every number has its passport, every name resolves, every sum closes.

The files are read with `tomllib` alone, so that a fault of the loader cannot hide a fault of the data.
"""

from __future__ import annotations

import itertools
import re
import tomllib
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest

DATA = Path(__file__).resolve().parents[2] / "kit" / "data"
FILES = ("sources", "substances", "materials", "caps", "cautions", "methods")

# How many facts still rest on memory or on common practice without a published source. The number may only fall:
# read a document, give the fact that source and `checked_on`, and lower it here.
MEMORY_COUNT = 84

KINDS = {"measured", "handbook", "supplier-typical", "estimated", "memory"}
ROLES = {"active", "carrier", "solvent", "preservative", "water", "co-emulsifier"}
PHASES = {"water", "oil", "cool-down", "adjust"}
CATEGORIES = set(
    """
    water, humectant, thickener, cationic polymer, cationic surfactant, amine surfactant, anionic surfactant,
    anionic polymer, nonionic emulsifier, fatty alcohol, emollient, silicone, wax ester, acid, base, salt,
    preservative, preservative booster, chelator, protein, extract, fragrance, antioxidant, solvent, active
    """.strip()
    .replace("\n    ", " ")
    .split(", ")
)
FACT_UNITS = {
    "molar_mass": "g/mol",
    "charge_density": "meq/g",
    "pka": "1",
    "active_range": "%",
    "use_range": "%",
    "heat_max": "degC",
    "melt_min": "degC",
    "ph_window": "1",
    "density": "g/mL",
    "torque": "%",
}
MATERIAL_FACTS = ("active_range", "use_range", "heat_max", "melt_min", "ph_window", "density")
KEY_LIST = """
water-deionised glycerin propanediol hydroxyethylcellulose hydroxypropyl-methylcellulose
guar-hydroxypropyltrimonium-chloride xanthan-gum disodium-edta citric-acid citric-acid-monohydrate
lactic-acid-88 sodium-hydroxide behentrimonium-chloride-80 behentrimonium-methosulfate-25
behentrimonium-methosulfate-50 cetrimonium-chloride-29 steartrimonium-chloride-80
stearamidopropyl-dimethylamine cetearyl-alcohol cetyl-alcohol stearyl-alcohol behenyl-alcohol cetyl-esters
caprylic-capric-triglyceride simmondsia-chinensis-seed-oil helianthus-annuus-seed-oil isopropyl-myristate
butyrospermum-parkii-butter panthenol-75 tilia-cordata-flower-extract calendula-officinalis-flower-extract
hydrolyzed-rice-protein-20 phenoxyethanol ethylhexylglycerin caprylyl-glycol sodium-benzoate
potassium-sorbate benzyl-alcohol parfum tocopherol sodium-laureth-sulfate-27 citric-acid-10-solution
lactic-acid-10-solution sodium-hydroxide-10-solution
"""
KEYS = set(KEY_LIST.split())


def read(name: str) -> dict:
    return tomllib.loads((DATA / f"{name}.toml").read_text(encoding="utf-8"))


TABLES = {name: read(name) for name in FILES}
SOURCES = TABLES["sources"]["sources"]
SUBSTANCES = {row["inci"]: row for row in TABLES["substances"]["substance"]}
MATERIALS = {row["key"]: row for row in TABLES["materials"]["material"]}
CAPS = TABLES["caps"]["cap"]
CAUTIONS = TABLES["cautions"]["cautions"]


def walk(node: object, where: str) -> Iterator[tuple[str, dict]]:
    """Every table of a file with its address."""
    if isinstance(node, dict):
        yield where, node
        for name, value in node.items():
            yield from walk(value, f"{where}.{name}")
    elif isinstance(node, list):
        for number, value in enumerate(node):
            label = (
                value.get("key") or value.get("inci") or value.get("code") or number
                if isinstance(value, dict)
                else number
            )
            yield from walk(value, f"{where}[{label}]")


def tables() -> Iterator[tuple[str, dict]]:
    for name in FILES:
        yield from walk(TABLES[name], name)


def vouched() -> Iterator[tuple[str, dict]]:
    """Every table that carries a kind: a fact, a part, a cap, a method, the age windows."""
    return ((where, row) for where, row in tables() if "kind" in row)


def facts() -> Iterator[tuple[str, str, dict]]:
    """Every fact: address, name of the fact, row."""
    for where, row in tables():
        for name, value in row.items():
            if name in FACT_UNITS:
                for item in value if isinstance(value, list) else [value]:
                    yield f"{where}.{name}", name, item


def test_the_walk_reaches_every_kind_of_row():
    """Counted by hand in the files' text: a walk that missed a level would pass everything below."""
    text = "".join((DATA / f"{name}.toml").read_text(encoding="utf-8") for name in FILES)
    assert sum(1 for _ in vouched()) == len(re.findall(r'\bkind = "', text)) > 200
    assert sum(1 for where, _ in vouched() if ".parts[" in where) == len(re.findall(r'\brole = "', text))


@pytest.mark.parametrize(("where", "row"), [pytest.param(where, row, id=where) for where, row in vouched()])
def test_every_vouched_row_has_a_kind_and_a_known_source(where, row):
    assert row["kind"] in KINDS
    assert row["source"] in SOURCES


def test_every_fact_part_cap_and_method_is_vouched_for():
    wanted = [(where, row) for where, row in tables() if ".parts[" in where or ".mixture_of[" in where]
    wanted += [(where, row) for where, _, row in facts()]
    wanted += [(row["code"], row) for row in CAPS] + [(row["name"], row) for row in TABLES["methods"]["method"]]
    wanted += [("calibration", row["calibration"]) for row in TABLES["methods"]["method"] if "calibration" in row]
    wanted += [("ages", TABLES["methods"]["ages"])]
    assert len(wanted) > 200
    assert [where for where, row in wanted if not {"kind", "source"} <= row.keys()] == []


def test_only_a_document_that_was_read_gives_a_day_of_reading():
    for where, row in vouched():
        if row["kind"] == "memory":
            assert "checked_on" not in row, where
        if row["kind"] == "handbook":
            assert "checked_on" in row, where
        if "checked_on" in row:
            assert re.fullmatch(r"\d{4}-\d\d-\d\d", row["checked_on"]), where
            assert row["checked_on"] >= SOURCES[row["source"]]["read"], f"{where}: checked before its source was read"


def test_every_source_is_used_and_has_a_citation():
    code = "".join(path.read_text(encoding="utf-8") for path in sorted(DATA.parent.rglob("*.py")))
    used = {row["source"] for _, row in vouched()} | {key for key in SOURCES if f'source="{key}"' in code}
    assert set(SOURCES) == used
    for key, row in SOURCES.items():
        assert row["citation"].strip(), key
        assert set(row) <= {"citation", "link", "read", "note"}, key
        assert "http" not in row.get("link", ""), key


def test_the_number_of_memory_values_may_only_fall(capsys):
    count = sum(row["kind"] == "memory" for _, row in vouched())
    with capsys.disabled():
        print(f"\nfacts from memory or common practice: {count} of {sum(1 for _ in vouched())}")
    assert count == MEMORY_COUNT, (
        "lower MEMORY_COUNT when a document was read for a fact; it is never raised to let a fact in unread"
    )


@pytest.mark.parametrize(
    ("where", "name", "row"), [pytest.param(where, name, row, id=where) for where, name, row in facts()]
)
def test_a_fact_is_a_number_or_an_ordered_range_in_its_unit(where, name, row):
    numbers = {key: Decimal(row[key]) for key in ("value", "low", "high") if key in row}
    assert all(isinstance(row[key], str) for key in numbers)
    assert numbers and ("value" in numbers) != bool(numbers.keys() & {"low", "high"})
    assert row["unit"] == FACT_UNITS[name]
    if {"low", "high"} <= numbers.keys():
        assert numbers["low"] < numbers["high"]
    if name != "charge_density":
        assert min(numbers.values()) > 0
    assert set(row) <= {"value", "low", "high", "unit", "kind", "source", "conditions", "checked_on"}


def test_the_materials_asked_for_are_there_once():
    rows = TABLES["materials"]["material"]
    assert len(rows) == len(MATERIALS)
    assert MATERIALS.keys() >= KEYS
    assert len(SUBSTANCES) == len(TABLES["substances"]["substance"])


@pytest.mark.parametrize("row", MATERIALS.values(), ids=MATERIALS.keys())
def test_a_supply_form_adds_up_to_one_hundred(row):
    assert ("parts" in row) != ("made_from" in row)
    shares = [Decimal(item["pct"]) for item in row.get("parts", row.get("made_from"))]
    assert all(share > 0 for share in shares)
    assert sum(shares) == Decimal(100)


@pytest.mark.parametrize("row", MATERIALS.values(), ids=MATERIALS.keys())
def test_a_supply_form_names_only_known_things(row):
    for part in row.get("parts", ()):
        assert part["inci"] in SUBSTANCES
        assert part["role"] in ROLES
    assert row["label_inci"] in SUBSTANCES
    assert row["phases"] and set(row["phases"]) <= PHASES
    assert all(re.fullmatch(r"H[2-4]\d\d", code) for code in row.get("hazards", ()))
    assert set(row.get("cautions", ())) <= CAUTIONS.keys()
    assert row["function"] and row["note"].endswith(".")
    assert set(row) <= {
        "key",
        "name",
        "aliases",
        "label_inci",
        "function",
        "phases",
        "parts",
        "made_from",
        "hazards",
        "cautions",
        "note",
        *MATERIAL_FACTS,
    }


def test_a_stock_solution_stands_after_what_it_is_made_from():
    seen: set[str] = set()
    stocks = 0
    for row in TABLES["materials"]["material"]:
        for item in row.get("made_from", ()):
            stocks += 1
            assert item["material"] in seen
        seen.add(row["key"])
    assert stocks == 6


def test_the_lactic_stock_holds_ten_percent_of_acid():
    """By hand: 10 g of acid need 10 / 0.88 = 11.36 g of the 88 % acid; half its last digit is 0.0044 g of acid."""
    weighed = {item["material"]: Decimal(item["pct"]) for item in MATERIALS["lactic-acid-10-solution"]["made_from"]}
    assert abs(weighed["lactic-acid-88"] * Decimal("0.88") - 10) <= Decimal("0.0044")
    assert MATERIALS["lactic-acid-88"]["parts"][0] == {
        "inci": "Lactic Acid",
        "pct": "88",
        "kind": "supplier-typical",
        "source": "trade-form",
        "role": "active",
    }


def test_the_bare_inci_name_of_citric_acid_is_ambiguous_on_purpose():
    forms = [key for key, row in MATERIALS.items() if row["label_inci"] == "Citric Acid" and "parts" in row]
    assert forms == ["citric-acid", "citric-acid-monohydrate"]


def test_an_alias_belongs_to_one_material_and_is_nobody_elses_name():
    names = [
        name
        for row in MATERIALS.values()
        for name in {text.lower() for text in (row["key"], row["name"], *row.get("aliases", ()))}
    ]
    assert len(names) == len(set(names))
    incis = {inci.lower() for inci in SUBSTANCES}
    assert [alias for row in MATERIALS.values() for alias in row.get("aliases", ()) if alias.lower() in incis] == []
    for key, alias in {
        "citric-acid-10-solution": "citric acid 10 %",
        "lactic-acid-10-solution": "lactic acid 10 %",
        "sodium-hydroxide-10-solution": "sodium hydroxide 10 %",
    }.items():
        assert alias in MATERIALS[key]["aliases"]


@pytest.mark.parametrize("row", SUBSTANCES.values(), ids=SUBSTANCES.keys())
def test_a_substance_is_told_by_its_category_and_charge(row):
    assert row["category"] in CATEGORIES
    charged = row.get("charge", 0) != 0 or "charge_density" in row
    assert charged == ("charge_strength" in row)
    expected = {
        "cationic surfactant": (1, "quaternary"),
        "amine surfactant": (1, "amine"),
        "anionic surfactant": (-1, "hard anion"),
    }
    if row["category"] in expected:
        assert (row["charge"], row["charge_strength"]) == expected[row["category"]]
    if "polymer" in row["category"]:
        sign = 1 if row["category"].startswith("cationic") else -1
        assert all(sign * Decimal(row["charge_density"][key]) > 0 for key in ("low", "high"))
    for part in row.get("mixture_of", ()):
        assert part["inci"] in SUBSTANCES
    if "mixture_of" in row:
        assert sum(Decimal(part["pct"]) for part in row["mixture_of"]) == 100


def check_digit_ok(number: str, weights: Iterator[int] | range, modulus: int) -> bool:
    digits = [int(char) for char in number if char.isdigit()]
    return sum(weight * digit for weight, digit in zip(weights, digits[:-1], strict=True)) % modulus == digits[-1]


def test_registry_numbers_keep_their_check_digit():
    """CAS: digits counted from the right, weights 1, 2, 3 ..., modulo 10 (CAS Registry, check digit verification).

    EC: weights 1 to 6 from the left, modulo 11 (ECHA, identifiers in the EC inventory). Worked: water 7732-18-5 is
    8x1 + 1x2 + 2x3 + 3x4 + 7x5 + 7x6 = 105, last digit 5.
    """
    cas = {inci: row["cas"] for inci, row in SUBSTANCES.items() if "cas" in row}
    ec = {inci: row["ec"] for inci, row in SUBSTANCES.items() if "ec" in row}
    assert len(cas) > 25 and len(ec) > 12
    for inci, number in cas.items():
        body = number.replace("-", "")
        assert check_digit_ok(number, range(len(body) - 1, 0, -1), 10), f"{inci} {number}"
    for inci, number in ec.items():
        assert check_digit_ok(number, range(1, 7), 11), f"{inci} {number}"
    assert not check_digit_ok("7732-18-4", range(6, 0, -1), 10)


# Cumulative log K of the anions with one, two, three, four protons at 25 degC and zero ionic strength: NIST SRD 46 as
# printed in minteq.v4.dat of PHREEQC (US Geological Survey).
NIST_LOG_K = {
    "Citric Acid": ("6.396", "11.157", "14.285"),
    "Disodium EDTA": ("10.948", "17.221", "20.34", "22.5"),
    "Benzoic Acid": ("4.202",),
    "Sodium Benzoate": ("4.202",),
}


@pytest.mark.parametrize("inci", NIST_LOG_K)
def test_stepwise_constants_are_the_differences_of_the_printed_ones(inci):
    cumulative = [Decimal(0), *map(Decimal, NIST_LOG_K[inci])]
    stepwise = [after - before for before, after in itertools.pairwise(cumulative)]
    assert [Decimal(fact["value"]) for fact in SUBSTANCES[inci]["pka"]] == stepwise[::-1]


def test_lactic_and_sorbic_constants_stand_as_printed():
    """Lactic: 3.857 + 0.00005 (25 - 22.5)^2 = 3.8573, printed 3.86 (ECHA dossier, Martin and Tartar); sorbic 4.76."""
    assert abs(Decimal(SUBSTANCES["Lactic Acid"]["pka"][0]["value"]) - Decimal("3.8573")) <= Decimal("0.005")
    assert {SUBSTANCES[inci]["pka"][0]["value"] for inci in ("Sorbic Acid", "Potassium Sorbate")} == {"4.76"}


def formula(text: str) -> dict[str, str]:
    """Lines of "material percentage", separated by commas."""
    return dict(line.split() for line in text.split(","))


# Two ordinary rinse-off conditioners, invented, of common make-up, and a level series (common practice, no source).
LINDEN = formula(
    """
    water-deionised 82.95, glycerin 3.00, hydroxyethylcellulose 0.20, disodium-edta 0.10, citric-acid 0.05,
    cetearyl-alcohol 5.00, behentrimonium-chloride-80 2.50, caprylic-capric-triglyceride 2.50, cetyl-esters
    0.50, panthenol-75 0.70, tilia-cordata-flower-extract 1.00, phenoxyethanol 0.80, ethylhexylglycerin 0.10,
    sodium-benzoate 0.20, parfum 0.40
    """
)
CALENDULA = formula(
    """
    water-deionised 81.94, propanediol 3.00, hydroxyethylcellulose 0.20, guar-hydroxypropyltrimonium-chloride
    0.20, disodium-edta 0.10, citric-acid 0.06, behentrimonium-methosulfate-25 6.00, cetyl-alcohol 2.00,
    simmondsia-chinensis-seed-oil 2.00, butyrospermum-parkii-butter 1.00, calendula-officinalis-flower-extract
    1.00, hydrolyzed-rice-protein-20 1.00, phenoxyethanol 0.80, caprylyl-glycol 0.30, potassium-sorbate 0.10,
    parfum 0.30
    """
)
LEVELS = [("cetearyl-alcohol", level) for level in ("3.00", "4.00", "6.00", "7.00")] + [
    ("hydroxypropyl-methylcellulose", "0.30")
]


@pytest.mark.parametrize(("key", "pct"), [*LINDEN.items(), *CALENDULA.items(), *LEVELS])
def test_an_ordinary_conditioner_stays_inside_the_use_ranges(key, pct):
    use = MATERIALS[key]["use_range"]
    assert Decimal(use.get("low", "0")) <= Decimal(pct) <= Decimal(use.get("high", "100"))


def test_the_ordinary_conditioners_are_whole():
    assert sum(map(Decimal, LINDEN.values())) == sum(map(Decimal, CALENDULA.values())) == 100


@pytest.mark.parametrize(
    ("key", "pct"),
    [
        ("sodium-benzoate", "3.0"),
        ("cetearyl-alcohol", "12"),
        ("parfum", "2"),
        ("glycerin", "20"),
        ("disodium-edta", "1.0"),
        ("hydroxyethylcellulose", "2"),
    ],
)
def test_a_slip_of_the_decimal_point_falls_outside(key, pct):
    """Hard-warning levels of rinse-off conditioners (common practice, no source)."""
    assert Decimal(pct) > Decimal(MATERIALS[key]["use_range"]["high"])


def test_heat_sensitive_materials_have_a_limit_and_waxes_a_melting_temperature():
    sensitive = {key for key, row in MATERIALS.items() if "heat_max" in row}
    assert {
        "parfum",
        "benzyl-alcohol",
        "phenoxyethanol",
        "ethylhexylglycerin",
        "panthenol-75",
        "hydrolyzed-rice-protein-20",
    } <= sensitive
    assert sensitive >= {key for key, row in MATERIALS.items() if row["function"] == "botanical extract"}
    assert MATERIALS["phenoxyethanol"]["heat_max"]["value"] == "60"
    waxes = [
        row
        for row in MATERIALS.values()
        if "gel network" in row["function"] or ("cationic" in row["function"] and row["phases"] == ["oil"])
    ]
    assert len(waxes) == 9
    assert all(55 <= Decimal(row["melt_min"]["value"]) <= 85 for row in waxes)
    assert not sensitive & {key for key, row in MATERIALS.items() if "melt_min" in row}


def test_the_acid_preservatives_are_for_acid_products():
    """Undissociated share 1 / (1 + 10^(pH - pKa)): benzoic at pH 5 with pKa 4.20 is 1 / (1 + 10^0.8) = 14 %."""
    assert Decimal(MATERIALS["sodium-benzoate"]["ph_window"]["high"]) <= 5
    assert Decimal(MATERIALS["potassium-sorbate"]["ph_window"]["high"]) <= Decimal("5.5")


def test_cautions_are_short_and_each_one_is_shown_somewhere():
    asked_for = {key for row in MATERIALS.values() for key in row.get("cautions", ())}
    for key, row in CAUTIONS.items():
        assert set(row) == {"title", "text", "always"}
        assert isinstance(row["always"], bool)
        assert row["always"] or key in asked_for, f"{key} would never be printed"
        assert row["text"].endswith(".") and len(row["text"]) < 360
    assert {key for key, row in CAUTIONS.items() if row["always"]} >= {
        "preservation",
        "local-law",
        "label-beakers",
        "slip",
    }
    for key in ("behentrimonium-chloride-80", "cetrimonium-chloride-29", "stearamidopropyl-dimethylamine"):
        assert {"eyes", "aquatic"} <= set(MATERIALS[key]["cautions"])
    assert "flammable-vapour" in MATERIALS["behentrimonium-chloride-80"]["cautions"]
    assert all("corrosive" in MATERIALS[key]["cautions"] for key in ("sodium-hydroxide", "lactic-acid-88"))


def test_methods_hold_the_windows_of_common_practice():
    """Slope 95 to 102 %, offset +-20 mV, 25 degC (common practice, no source); torque 10 to 100 % (viscometer note)."""
    methods = {row["name"]: row for row in TABLES["methods"]["method"]}
    calibration = methods["pH neat"]["calibration"]
    assert [calibration[key] for key in ("slope_low", "slope_high", "offset_low", "offset_high")] == [
        "95",
        "102",
        "-20",
        "20",
    ]
    viscosity = methods["viscosity"]
    assert (viscosity["torque"]["low"], viscosity["torque"]["high"], viscosity["constant_tolerance_pct"]) == (
        "10",
        "100",
        "2",
    )
    assert (viscosity["rpm"], viscosity["reading_time"], viscosity["spindle"]) == ("10", "60 s", "disc 5")
    assert {row["temp"]["value"] for row in methods.values()} == {"25"}
    assert TABLES["methods"]["ages"]["windows"] == {"1 h": "15 min", "24 h": "2 h", "72 h": "4 h", "7 d": "12 h"}
