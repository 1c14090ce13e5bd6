"""The fact files: every number has its passport, every name resolves, every sum closes.

The files are read with `tomllib` alone, so that a fault of the loader cannot hide a fault of the data.
"""

from __future__ import annotations

import itertools
import math
import re
import tomllib
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest

DATA = Path(__file__).resolve().parents[2] / "kit" / "data"
FILES = (
    "sources",
    "substances",
    "materials",
    "practice",
    "caps",
    "cautions",
    "methods",
    "allergens",
    "label",
    "ph_buffers",
    "partition",
    "challenge",
    "ph_priors",
    "thermal",
    "viscometer",
    "mixing",
)

# How many facts of each file still rest on memory or on common practice without a published source. A number may only
# fall: read a document, give the fact that source and `checked_on`, and lower it here. What the trade says of a whole
# class of materials stands once, in practice.toml.
MEMORY_COUNT = {
    "sources": 0,
    "substances": 6,
    "materials": 16,
    "practice": 26,
    "caps": 0,
    "cautions": 0,
    "methods": 4,
    "allergens": 0,
    "label": 0,
    "ph_buffers": 2,
    "partition": 3,
    "challenge": 1,
    "ph_priors": 0,
    "thermal": 0,
    "viscometer": 27,
    "mixing": 1,
}
# Files of facts that came after the sum of 52 was fixed: each has its own count above.
LATER_FILES = ("ph_buffers", "partition", "challenge", "ph_priors", "thermal", "viscometer", "mixing")

KINDS = {"measured", "handbook", "supplier-typical", "estimated", "memory"}
ROLES = {"active", "carrier", "solvent", "preservative", "water", "co-emulsifier"}
PHASES = {"water", "oil", "cool-down", "adjust"}
CATEGORIES = set(
    """
    water, humectant, thickener, starch, cationic polymer, cationic surfactant, amine surfactant, anionic surfactant,
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
    "log_kow": "1",
    "norrish_k": "1",
    "oil_water": "1",
    "like_oil_factor": "1",
    "counter_ion_bound": "1",
    "ion_selectivity": "1",
    "no_increase_log": "1",
    "hlb": "1",
    "required_hlb": "1",
    "active_range": "%",
    "use_range": "%",
    "heat_max": "degC",
    "melt_min": "degC",
    "ph_window": "1",
    "density": "g/mL",
    "fragrance_limit": "%",
    "torque": "%",
    "heat_capacity_25": "J/(g K)",
    "heat_capacity_50": "J/(g K)",
    "heat_capacity_75": "J/(g K)",
    "melting": "degC",
    "heat_of_fusion": "J/g",
    "heat_of_setting": "J/g",
    "density_20": "kg/m3",
    "density_25": "kg/m3",
    "density_40": "kg/m3",
    "full_scale_accuracy": "%",
    "oil_accuracy": "%",
    "torque_aim": "%",
    "relative_torque": "1",
    "torque_full_scale": "mN.m",
    "multiplier": "1",
    "stress_per_torque": "Pa/%",
    "shear_rate_per_speed": "1/(s.rpm)",
    "power_number": "1",
    "pumping_number": "1",
    "metzner_otto": "1",
}
MATERIAL_FACTS = ("active_range", "use_range", "heat_max", "melt_min", "ph_window", "density", "fragrance_limit")
PRACTICE_FACTS = ("use_range", "heat_max", "melt_min", "ph_window")
CLASSES = {"esterquat", "amidoamine", "monoalkyl quat", "dialkyl quat"}
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
propylene-glycol butylene-glycol sorbitol-70 urea betaine hydroxypropyl-starch-phosphate polyquaternium-10
polyquaternium-7-9 carbomer distearoylethyl-dimonium-chloride-83 distearyldimonium-chloride-75
dipalmitoylethyl-hydroxyethylmonium-methosulfate-35 behenamidopropyl-dimethylamine cetyl-palmitate
glyceryl-stearate squalane isopropyl-palmitate coco-caprylate dimethicone-350 amodimethicone-35-emulsion
ceteareth-20 polysorbate-20 lactic-acid-80 lactic-acid-90 malic-acid gluconolactone sodium-lactate-60 arginine
dehydroacetic-acid sodium-dehydroacetate tetrasodium-glutamate-diacetate-38 sodium-phytate-50
hydrolyzed-oat-protein-20 hydrolyzed-wheat-protein-25 niacinamide menthol chamomilla-recutita-flower-extract
hibiscus-sabdariffa-flower-extract urtica-dioica-leaf-extract camellia-sinensis-leaf-extract
lavandula-angustifolia-oil
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
PRACTICE = TABLES["practice"]["practice"]


def effective(row: dict, name: str) -> dict | None:
    """A fact of a supply form: its own, else that of its class."""
    return row.get(name) or PRACTICE.get(row.get("use", ""), {}).get(name)


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
    inside = (".parts[", ".mixture_of[", ".allergens[")
    wanted = [(where, row) for where, row in tables() if any(mark in where for mark in inside)]
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
    used = {row["source"] for _, row in vouched()} | {key for key in SOURCES if f'"{key}' in code}
    assert set(SOURCES) == used
    for key, row in SOURCES.items():
        assert row["citation"].strip(), key
        assert set(row) <= {"citation", "link", "read", "note"}, key
        assert "http" not in row.get("link", ""), key


def test_the_number_of_memory_values_may_only_fall(capsys):
    """There were 84 when the list was half as long; a rule of the trade for a class is stated once, used by many."""
    kinds = {name: [row["kind"] for _, row in walk(TABLES[name], name) if "kind" in row] for name in FILES}
    counts = {name: found.count("memory") for name, found in kinds.items()}
    with capsys.disabled():
        told = ", ".join(f"{name} {count} of {len(kinds[name])}" for name, count in counts.items() if kinds[name])
        print(f"\nfacts from memory or common practice: {sum(counts.values())} ({told})")
    assert counts == MEMORY_COUNT, (
        "lower MEMORY_COUNT when a document was read for a fact; it is never raised to let a fact in unread"
    )
    assert sum(count for name, count in counts.items() if name not in LATER_FILES) <= 52


def test_a_rule_of_the_trade_is_stated_once_and_used_by_many():
    used = [row["use"] for row in MATERIALS.values() if "use" in row]
    assert set(used) == set(PRACTICE)
    assert len(used) > 3 * len(PRACTICE)
    for name, row in PRACTICE.items():
        assert set(row) <= set(PRACTICE_FACTS), name
        assert all(fact["kind"] == "memory" and fact["source"] == "common-practice" for fact in row.values()), name


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
    if name not in ("charge_density", "log_kow"):
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
        "use",
        "allergens",
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
    if row["category"] in ("thickener", "starch"):  # a few groups a chain, of unknown number: a class without a charge
        assert not charged
    else:
        assert charged == ("charge_strength" in row)
    assert ("class" in row) == (row["category"] in ("cationic surfactant", "amine surfactant"))
    assert row.get("class", "esterquat") in CLASSES
    assert ("acid_groups" in row) == (row["category"] == "acid" or row["inci"] == "Tetrasodium Glutamate Diacetate")
    assert ("hlb" not in row) or row["category"] == "nonionic emulsifier"
    assert ("required_hlb" not in row) or row["category"] in ("emollient", "silicone", "antioxidant")
    assert ("norrish_k" not in row) or row["category"] == "humectant"
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
    assert len(cas) > 55 and len(ec) > 45
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


def test_acid_groups_are_the_protons_given_up_below_ph_5():
    """Citric 3.13 and 4.76 but not 6.40: two. Lactic 3.86, malic 3.40 (its second, 5.20, not), gluconic 3.92: one."""
    groups = {inci: row["acid_groups"] for inci, row in SUBSTANCES.items() if row.get("acid_groups", 0) > 0}
    assert groups == {"Citric Acid": 2, "Lactic Acid": 1, "Malic Acid": 1, "Gluconolactone": 1}
    for inci, count in groups.items():
        assert sum(Decimal(fact["value"]) < 5 for fact in SUBSTANCES[inci]["pka"]) == count


def test_an_alkaline_chelator_takes_one_proton_before_an_amidoamine_keeps_it():
    """Four carboxylates, all of them salts, and an amine above pKa 9: of its constants one lies above that of a
    product at the equivalence of an amidoamine, halfway between a carboxylic acid (near 4) and the amine (near 9).
    """
    row = SUBSTANCES["Tetrasodium Glutamate Diacetate"]
    assert sum(Decimal(fact["value"]) > Decimal("6.5") for fact in row["pka"]) == 1
    assert row["acid_groups"] == -1


def test_the_constants_of_the_acids_stand_as_printed():
    """Malic 3.40 and 5.20 (Wikipedia, table of properties); gluconic 3.92 (Talanta 45 (1998) 1007, abstract)."""
    assert [fact["value"] for fact in SUBSTANCES["Malic Acid"]["pka"]] == ["3.40", "5.20"]
    assert [fact["value"] for fact in SUBSTANCES["Gluconolactone"]["pka"]] == ["3.92"]


@pytest.mark.parametrize("inci", ["Stearamidopropyl Dimethylamine", "Behenamidopropyl Dimethylamine"])
def test_the_constant_of_an_amidoamine_is_that_of_its_protonated_share(inci):
    """ "At pH 7 99.6% of the tertiary amine is protonated" (ECHA dossier 10198): 7 + log10(0.996 / 0.004) = 9.396.

    99.5 or 99.7 % would give 9.30 or 9.52, so the first decimal is as far as it goes.
    """
    (fact,) = SUBSTANCES[inci]["pka"]
    assert abs(float(fact["value"]) - (7 + math.log10(0.996 / 0.004))) < 0.05
    assert fact["kind"] == "estimated"


def test_constants_say_at_which_ionic_strength_they_hold():
    """A constant at I = 0.1 must not be corrected for activity once more (common practice, no source)."""
    spoken = ("I = 0", "ionic strength not printed")
    constants = [(inci, fact) for inci, row in SUBSTANCES.items() for fact in row.get("pka", ())]
    assert len(constants) > 25
    silent = [inci for inci, fact in constants if not any(word in fact["conditions"] for word in spoken)]
    assert set(silent) == {"Dehydroacetic Acid", "Sodium Dehydroacetate", "Behenamidopropyl Dimethylamine"}
    conditional = {inci for inci, fact in constants if "I = 0.1 (conditional constant" in fact["conditions"]}
    assert conditional == {"Tetrasodium Glutamate Diacetate"}


def test_norrish_constants_stand_as_printed():
    """International Journal of Dentistry 2010, article 981072, Table 3: glycerol 1.16, D-glucitol 1.65."""
    found = {inci: row["norrish_k"]["value"] for inci, row in SUBSTANCES.items() if "norrish_k" in row}
    assert found == {"Glycerin": "1.16", "Sorbitol": "1.65"}


def test_partition_coefficients_stand_as_printed():
    """CRC Handbook: benzyl alcohol 1.05, benzoic acid 1.88; PhysProp: glycerol -1.76, 2-phenoxyethanol 1.16, sorbic
    acid 1.33, malic acid -1.26 (a producer's data sheet prints -1.26 too).
    """
    printed = {
        "Benzyl Alcohol": "1.05",
        "Benzoic Acid": "1.88",
        "Glycerin": "-1.76",
        "Phenoxyethanol": "1.16",
        "Sorbic Acid": "1.33",
        "Malic Acid": "-1.26",
    }
    assert {inci: SUBSTANCES[inci]["log_kow"]["value"] for inci in printed} == printed


def test_charge_densities_of_polymers_from_their_printed_composition():
    """PQ-7: 25 to 50 mol% of a charged unit of 161.67 among 71.08 g/mol; PQ-10: nitrogen 1.5 to 2.2 %, 14.007 g/mol;
    carbomer: carboxyl (45.02 g/mol) from 56 % and no more than acrylic acid (72.06 g/mol) holds. Last digit inward."""
    low, high = (1000 * x / (161.67 * x + 71.08 * (1 - x)) for x in (0.25, 0.50))
    expected = {
        "Polyquaternium-7": (low, high),
        "Polyquaternium-10": (15 / 14.007, 22 / 14.007),
        "Carbomer": (-1000 / 72.06, -560 / 45.02),
    }
    for inci, ends in expected.items():
        density = SUBSTANCES[inci]["charge_density"]
        for key, value in zip(("low", "high"), ends, strict=True):
            assert float(density[key]) == pytest.approx(value, abs=0.05 if inci == "Carbomer" else 0.01), inci


def test_allergens_of_an_oil_are_named_and_stay_within_it():
    """European Pharmacopoeia, lavender oil: linalool 20 to 45, linalyl acetate 25 to 47, limonene at most 1 %."""
    rows = {key: row["allergens"] for key, row in MATERIALS.items() if "allergens" in row}
    assert {item["inci"]: item["pct"] for item in rows["lavandula-angustifolia-oil"]} == {
        "Linalool": "45",
        "Linalyl Acetate": "47",
        "Limonene": "1",
    }
    for key, items in rows.items():
        assert sum(Decimal(item["pct"]) for item in items) <= 100, key
        assert all(set(item) <= {"inci", "pct", "kind", "source", "conditions", "checked_on"} for item in items), key


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


def use_of(key: str) -> dict:
    return effective(MATERIALS[key], "use_range")


def content_of(key: str, pct: str) -> Decimal:
    """What the range of a form is compared with: the percentage weighed, or its active where the range says so."""
    if "as active" not in use_of(key).get("conditions", ""):
        return Decimal(pct)
    active = sum(Decimal(part["pct"]) for part in MATERIALS[key]["parts"] if part["role"] == "active")
    return Decimal(pct) * active / 100


LEVELS = [("cetearyl-alcohol", level) for level in ("3.00", "4.00", "6.00", "7.00")] + [
    ("hydroxypropyl-methylcellulose", "0.30")
]


WEIGHED = [item for item in (*LINDEN.items(), *CALENDULA.items(), *LEVELS) if item[0] != "water-deionised"]


@pytest.mark.parametrize(("key", "pct"), WEIGHED)
def test_an_ordinary_conditioner_stays_inside_the_use_ranges(key, pct):
    assert Decimal(use_of(key).get("low", "0")) <= content_of(key, pct) <= Decimal(use_of(key).get("high", "100"))


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
        ("behentrimonium-chloride-80", "25.0"),
        ("behentrimonium-methosulfate-25", "60.0"),
        ("tetrasodium-glutamate-diacetate-38", "2.0"),
        ("citric-acid-10-solution", "50"),
    ],
)
def test_a_slip_of_the_decimal_point_falls_outside(key, pct):
    """Hard-warning levels of rinse-off conditioners (common practice, no source)."""
    active = Decimal("0.1") if key == "citric-acid-10-solution" else None
    found = Decimal(pct) * active if active else content_of(key, pct)
    assert found > Decimal(use_of(key)["high"])


def test_heat_sensitive_materials_have_a_limit_and_waxes_a_melting_temperature():
    sensitive = {key for key, row in MATERIALS.items() if effective(row, "heat_max")}
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
    waxes = {
        key: row
        for key, row in MATERIALS.items()
        if "gel network" in row["function"] or ("cationic" in row["function"] and row["phases"] == ["oil"])
    }
    assert len(waxes) == 11
    melts = {key: melt for key, row in waxes.items() if (melt := effective(row, "melt_min"))}
    assert waxes.keys() - melts.keys() == {"distearyldimonium-chloride-75"}
    assert all(49 <= Decimal(fact.get("value") or fact["high"]) <= 85 for fact in melts.values())
    # Menthol melts at 42 degC and is spoiled by heat all the same: it is dissolved, not melted.
    assert sensitive & {key for key, row in MATERIALS.items() if effective(row, "melt_min")} == {"menthol"}


def test_melting_points_stand_as_the_handbooks_print_them():
    """CRC Handbook: 1-hexadecanol 49.3, 1-octadecanol 58.0, 1-docosanol 71.0 degC; USP29-NF24 Cetostearyl Alcohol
    "between 48 and 55"; USP35-NF30 Cetyl Esters Wax "between 43 and 47"."""
    for key, value in {"cetyl-alcohol": "49.3", "stearyl-alcohol": "58.0", "behenyl-alcohol": "71.0"}.items():
        assert MATERIALS[key]["melt_min"]["value"] == value
    for key, ends in {"cetearyl-alcohol": ("48", "55"), "cetyl-esters": ("43", "47")}.items():
        assert (MATERIALS[key]["melt_min"]["low"], MATERIALS[key]["melt_min"]["high"]) == ends


def test_the_acid_preservatives_are_for_acid_products():
    """Undissociated share 1 / (1 + 10^(pH - pKa)): benzoic at pH 5 with pKa 4.20 is 1 / (1 + 10^0.8) = 14 %.

    Sorbate has "minimal antibacterial properties in formulations above pH 6" (Handbook of Pharmaceutical Excipients):
    1 / (1 + 10^(6 - 4.76)) = 5 %; dehydroacetic at pH 6 is 1 / (1 + 10^(6 - 5.27)) = 16 %.
    """
    assert MATERIALS["sodium-benzoate"]["ph_window"]["high"] == "5"
    for key in ("potassium-sorbate", "dehydroacetic-acid", "sodium-dehydroacetate"):
        assert MATERIALS[key]["ph_window"]["high"] == "6"


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


def test_primary_buffers_are_whole_tables_and_trade_limits_are_vouched_for():
    table = TABLES["ph_buffers"]
    assert [row["key"] for row in table["buffer"]] == sorted(
        (row["key"] for row in table["buffer"]),
        key=lambda key: Decimal(next(row["ph"][5] for row in table["buffer"] if row["key"] == key)),
    )
    for row in table["buffer"]:
        assert row["kind"] == "handbook" and row["composition"], row["key"]
        assert [Decimal(temp) for temp in row["temps_c"]] == list(range(0, 51, 5)), row["key"]
        assert all(re.fullmatch(r"\d+\.\d{3}", value) for value in row["ph"]), row["key"]
        assert len(row["ph"]) == len(row["temps_c"]), row["key"]
    assert (table["closing_check"]["tolerance"], table["drift"]["least_change"]) == ("0.05", "0.1")
    assert {table[name]["kind"] for name in ("closing_check", "drift")} == {"memory"}


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


def test_partition_names_hang_together():
    """An oil that a coefficient was measured in is listed, and no ingredient stands for two oils or two acids."""
    table = TABLES["partition"]
    oils = {row["name"] for row in table["oil"]}
    assert {entry["oil"] for row in table["preservative"] for entry in row.get("measured", ())} <= oils
    stands_for = [inci for row in table["oil"] for inci in [*row["members"], *row["like"]]]
    brings = [inci for row in table["preservative"] for inci in row["members"]]
    assert len(stands_for) == len(set(stands_for)) and len(brings) == len(set(brings))
    assert all(row["inci"] in row["members"] for row in table["preservative"])
    listed = {inci for inci, row in SUBSTANCES.items() if row["category"] == "preservative"}
    assert {"Phenoxyethanol", "Sodium Benzoate", "Potassium Sorbate", "Benzyl Alcohol"} <= listed & set(brings)


def test_priors_of_the_ph_have_a_spread_a_unit_and_a_reason():
    """Nothing that is not known has a spread of zero; each is an own estimate and says why."""
    rows = TABLES["ph_priors"]["prior"]
    units = {
        "pka": "1",
        "assay": "1",
        "latent": "1",
        "acidity": "meq/g",
        "buffering": "meq/g per pH",
        "offset": "meq acid per kg water",
        "noise": "pH",
    }
    assert len({(row["what"], row["of"]) for row in rows}) == len(rows)
    assert {row["what"] for row in rows} == set(units)
    named = CATEGORIES | SUBSTANCES.keys() | KINDS
    for row in rows:
        assert row["unit"] == units[row["what"]]
        assert Decimal(row["sd"]) > 0 and row["why"]
        assert row["kind"] == "estimated"
        if row["what"] in ("acidity", "buffering", "latent"):
            assert row["of"] in named or row["of"] == "not known", row["of"]
    assert {row["of"] for row in rows if row["what"] == "pka"} >= KINDS
    spread = {(row["what"], row["of"]): Decimal(row["sd"]) for row in rows}
    assert spread["pka", "handbook"] < spread["pka", "memory"] < spread["pka", "estimated"]


def test_every_acid_and_salt_says_what_it_is_when_it_holds_all_protons():
    """An acid is neutral then, an amine +1; arginine, with a carboxyl and two basic groups, +2 (its structure)."""
    charges = {inci: row["protonated_charge"] for inci, row in SUBSTANCES.items() if "pka" in row}
    assert charges.keys() == {inci for inci, row in SUBSTANCES.items() if "protonated_charge" in row}
    charged = {inci: charge for inci, charge in charges.items() if charge}
    assert charged == {
        "Arginine": 2,
        "Betaine": 1,
        "Niacinamide": 1,
        "Stearamidopropyl Dimethylamine": 1,
        "Behenamidopropyl Dimethylamine": 1,
    }
    assert not [inci for inci, row in SUBSTANCES.items() if "acid_base" in row and "pka" in row]


def test_challenge_criteria_ask_of_every_group_in_the_order_of_days():
    table = TABLES["challenge"]
    groups = {row["group"] for row in table["organism"]}
    assert groups == {"bacteria", "yeast", "mould"} and len(table["organism"]) == 5
    for row in table["criterion"]:
        assert {asked["group"] for asked in row["requirements"]} == groups, row["code"]
        for asked in row["requirements"]:
            assert set(asked) <= {"group", "day", "reduction", "no_increase_from"}
            assert asked["day"] in ("7", "14", "28") and {"reduction", "no_increase_from"} & asked.keys()
            assert int(asked.get("no_increase_from", "0")) < int(asked["day"])
    assert {row["method"] for row in table["criterion"]} == {row["method"] for row in table["tolerance"]}
