"""The coded limits against the law's own numbers, typed here from the text that was read.

Regulation (EC) No 1223/2009 on cosmetic products:
Annex III entries 286 and 287 in the corrigendum to Commission Regulation (EU) No 866/2014, OJ L 254, 28.8.2014, p. 39;
Annex III entries 15a, 62, 66, 286, 287 and 307 in the European Chemicals Agency's export of 16 May 2024;
Annex V entry 1 in the United Kingdom's copy of 3 September 2017 and the Commission's ingredient list of 4 Nov 2021;
Annex V entry 3 in that list's print of 2 August 2021; entries 4, 13, 29, 34 and 44 in it as open data, updates to 2015;
Annex V entries 12, 12a, 21, 22, 27, 33, 46, 50, 51, 56 and Annex VI entry 22 in that open data, updates to 2015;
Annex V entries 39 and 57 in Commission Regulations (EU) No 1003/2014 and 2017/1224; preamble in (EU) 2022/1181.
"""

from __future__ import annotations

import tomllib
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from molmass import Formula

from kit.formula.composition import Composition, CompositionLine
from kit.formula.material import Material, Part, Substance
from kit.formula.model import SpecLine
from kit.formula.rules.caps import closing, legal_limits
from kit.formula.rules.conditions import conditions_met, law_conditions, ph_conditions

D = Decimal
DATA = Path(__file__).resolve().parents[2] / "kit" / "data"
RINSE, LEAVE = "rinse-off hair", "leave-on hair"
BOTH = {RINSE, LEAVE}


def read(name: str) -> dict:
    return tomllib.loads((DATA / f"{name}.toml").read_text(encoding="utf-8"))


FILE = read("caps")
CAPS = {row["code"]: row for row in FILE["cap"]}
CONDITIONS = {row["code"]: row for row in FILE["condition"]}
SOURCES = read("sources")["sources"]
SUBSTANCES = {row["inci"]: row for row in read("substances")["substance"]}

C16_C18 = {"Cetrimonium Chloride", "Steartrimonium Chloride"}
C16_C18_C22 = C16_C18 | {"Behentrimonium Chloride"}
ISOTHIAZOLINONES = {"Methylchloroisothiazolinone", "Methylisothiazolinone"}
IPBC = {"Iodopropynyl Butylcarbamate"}
METHYL, ETHYL = {"Methylparaben", "Sodium Methylparaben"}, {"Ethylparaben", "Sodium Ethylparaben"}
PROPYL_BUTYL = {"Propylparaben", "Sodium Propylparaben", "Butylparaben", "Sodium Butylparaben"}
AHA = {"Lactic Acid", "Glycolic Acid", "Sodium Lactate", "Ammonium Lactate", "Sodium Glycolate"}

# code, annex and entry, product types, limit in %, basis, members: as the law text prints them.
LAW = [
    # "(a) Rinse-off hair products: 2,5 % for the individual concentrations or the sum of the individual concentrations
    # of cetrimonium chloride and steartrimonium chloride"
    ("cap.c16_c18_quat_sum", "Annex III entry 286", {"rinse-off hair"}, "2.5", "as the chloride", C16_C18),
    # "(b) Leave-on hair products: 1,0 % for the individual concentrations or the sum ..."
    ("cap.c16_c18_quat_sum_leave_on", "Annex III entry 286", {"leave-on hair"}, "1.0", "as the chloride", C16_C18),
    # "(a) Rinse-off hair products: 5,0 % for the individual concentration of behentrimonium chloride or the sum of the
    # individual concentrations of cetrimonium chloride, steartrimonium chloride and behentrimonium chloride, while at
    # the same time respect[ing]" entry 286
    ("cap.quat_sum", "Annex III entry 287", {"rinse-off hair"}, "5.0", "as the chloride", C16_C18_C22),
    # "Benzoic acid and its sodium salt: rinse-off products, except oral products 2,5 % (acid) ... leave-on products
    # 0,5 % (acid)"
    ("cap.benzoic_acid", "Annex V entry 1", {"rinse-off hair"}, "2.5", "as acid", {"Benzoic Acid", "Sodium Benzoate"}),
    (
        "cap.benzoic_acid_leave_on",
        "Annex V entry 1",
        {"leave-on hair"},
        "0.5",
        "as acid",
        {"Benzoic Acid", "Sodium Benzoate"},
    ),
    # "Hexa-2,4-dienoic acid and its salts: 0.6% (acid)"
    (
        "cap.sorbic_acid",
        "Annex V entry 4",
        {"rinse-off hair", "leave-on hair"},
        "0.6",
        "as acid",
        {"Sorbic Acid", "Potassium Sorbate", "Calcium Sorbate", "Sodium Sorbate"},
    ),
    # "3-Acetyl-6-methylpyran-2,4(3H)-dione and its salts: 0.6% (as acid)"
    (
        "cap.dehydroacetic_acid",
        "Annex V entry 13",
        {"rinse-off hair", "leave-on hair"},
        "0.6",
        "as acid",
        {"Dehydroacetic Acid", "Sodium Dehydroacetate"},
    ),
    # "2-Phenoxyethanol: 1.0%"
    (
        "cap.phenoxyethanol",
        "Annex V entry 29",
        {"rinse-off hair", "leave-on hair"},
        "1.0",
        "as such",
        {"Phenoxyethanol"},
    ),
    # "Benzyl alcohol: 1.0%"
    (
        "cap.benzyl_alcohol",
        "Annex V entry 34",
        {"rinse-off hair", "leave-on hair"},
        "1.0",
        "as such",
        {"Benzyl Alcohol"},
    ),
    # "Leave-on hair products: 3 %: maximum concentration is for the individual concentration of behentrimonium chloride
    # or the sum ... of cetrimonium chloride, steartrimonium chloride and behentrimonium chloride, while at the same
    # time
    # respecting the relevant maximum concentration ... set out in entry 286"
    ("cap.quat_sum_leave_on", "Annex III entry 287", {LEAVE}, "3.0", "as the chloride", C16_C18_C22),
    # "Salts of benzoic acid other than that listed under reference number 1 and esters of benzoic acid: 0,5 % (acid)"
    (
        "cap.benzoic_other_salts",
        "Annex V entry 1a",
        BOTH,
        "0.5",
        "as acid",
        {"Potassium Benzoate", "Ammonium Benzoate", "Calcium Benzoate", "Magnesium Benzoate", "MEA-Benzoate"},
    ),
    # "Salicylic acid and its salts: 0,5 % (acid). Not to be used in products for children under 3 years of age"
    (
        "cap.salicylic_acid",
        "Annex V entry 3",
        BOTH,
        "0.5",
        "as acid",
        {
            *("Salicylic Acid", "Sodium Salicylate", "Potassium Salicylate", "Calcium Salicylate"),
            *("Magnesium Salicylate", "MEA-Salicylate", "TEA-Salicylate"),
        },
    ),
    # Trade journal, June 2020, of entry 98: "3.0 % in rinse-off hair products and up to 2.0 % in other products"
    ("cap.salicylic_acid_other", "Annex III entry 98", {RINSE}, "3.0", "as such", {"Salicylic Acid"}),
    ("cap.salicylic_acid_other_leave_on", "Annex III entry 98", {LEAVE}, "2.0", "as such", {"Salicylic Acid"}),
    # Entry 39: "Rinse-off products 0,0015 % (of a mixture in the ratio 3:1 ...)"; entry 57 since 2017: "0,0015 %",
    # rinse-off
    ("cap.isothiazolinones", "Annex V entries 39 and 57", {RINSE}, "0.0015", "as such", ISOTHIAZOLINONES),
    ("cap.isothiazolinones_leave_on", "Annex V entries 39 and 57", {LEAVE}, "0", "as such", ISOTHIAZOLINONES),
    # "Trialkylamines, trialkanolamines and their salts: leave-on products 2.5 %"
    (
        "cap.trialkanolamines_leave_on",
        "Annex III entry 62",
        {LEAVE},
        "2.5",
        "as such",
        {"Triethanolamine", "Triisopropanolamine"},
    ),
    # "3-(p-Chlorophenoxy)-propane-1,2-diol: 0.3%"
    ("cap.chlorphenesin", "Annex V entry 50", BOTH, "0.3", "as such", {"Chlorphenesin"}),
    # "2-Hydroxy-4-methoxybenzophenone-5-sulfonic acid and its sodium salt: 5%(as acid)"
    ("cap.benzophenone_4", "Annex VI entry 22", BOTH, "5.0", "as acid", {"Benzophenone-4", "Benzophenone-5"}),
    # One number each: "0.6%", "0.6%", "0.5%", "0.5%", "0.1% Avoid formation of nitrosamines", "0.15%"
    ("cap.dmdm_hydantoin", "Annex V entry 33", BOTH, "0.6", "as such", {"DMDM Hydantoin"}),
    ("cap.imidazolidinyl_urea", "Annex V entry 27", BOTH, "0.6", "as such", {"Imidazolidinyl Urea"}),
    ("cap.diazolidinyl_urea", "Annex V entry 46", BOTH, "0.5", "as such", {"Diazolidinyl Urea"}),
    (
        "cap.sodium_hydroxymethylglycinate",
        "Annex V entry 51",
        BOTH,
        "0.5",
        "as such",
        {"Sodium Hydroxymethylglycinate"},
    ),
    ("cap.bronopol", "Annex V entry 21", BOTH, "0.1", "as such", {"2-Bromo-2-Nitropropane-1,3-Diol"}),
    ("cap.dichlorobenzyl_alcohol", "Annex V entry 22", BOTH, "0.15", "as such", {"Dichlorobenzyl Alcohol"}),
    # "a) Rinse-off products b) Leave-on products ...: a) 0.02% b) 0.01%"
    ("cap.iodopropynyl_butylcarbamate", "Annex V entry 56", {RINSE}, "0.02", "as such", IPBC),
    ("cap.iodopropynyl_butylcarbamate_leave_on", "Annex V entry 56", {LEAVE}, "0.01", "as such", IPBC),
    # "0,4% (as acid) for single ester 0,8% (as acid) for mixtures of esters"; "0,14% (as acid) for the sum of the
    # individual concentrations" of butyl- and propylparaben and their salts
    ("cap.methylparaben", "Annex V entry 12", BOTH, "0.4", "as acid", METHYL),
    ("cap.ethylparaben", "Annex V entry 12", BOTH, "0.4", "as acid", ETHYL),
    ("cap.propyl_butylparaben", "Annex V entry 12a", BOTH, "0.14", "as acid", PROPYL_BUTYL),
    ("cap.parabens", "Annex V entry 12 and 12a", BOTH, "0.8", "as acid", METHYL | ETHYL | PROPYL_BUTYL),
]
# REACH Annex XVII entry 70 as told in a regulatory news page: "D5 in wash-off products: already restricted at max
# 0.1 %; in
# leave-on products: max 0.1 % from June 6th, 2027. D6 in wash-off products: max 0.1 % from June 6th 2026; in leave-on
# products: max 0.1 % from June 6th, 2027. D4: already forbidden, only technically unavoidable traces (max 0.1 %)".
SILOXANES = [
    ("cap.cyclotetrasiloxane", BOTH, "Cyclotetrasiloxane", "stop", ""),
    ("cap.cyclosiloxane_d5", {RINSE}, "Cyclopentasiloxane", "stop", ""),
    ("cap.cyclosiloxane_d6", {RINSE}, "Cyclohexasiloxane", "stop", "6 June 2026"),
    ("cap.cyclosiloxane_d5_leave_on", {LEAVE}, "Cyclopentasiloxane", "caution", "6 June 2027"),
    ("cap.cyclosiloxane_d6_leave_on", {LEAVE}, "Cyclohexasiloxane", "caution", "6 June 2027"),
]
# Cosmetic Ingredient Review, re-review 2017, first page: "safe ... at concentrations <= 10 %, at final formulation
# pH >= 3.5"
GUIDANCE = ("cap.alpha_hydroxy_acids", "Cosmetic Ingredient Review", BOTH, "10", "as acid", AHA)


@pytest.mark.parametrize(("code", "entry", "products", "limit", "basis", "members"), LAW, ids=[row[0] for row in LAW])
def test_a_cap_is_the_number_of_its_entry(code, entry, products, limit, basis, members):
    cap = CAPS[code]
    assert Decimal(cap["limit"]) == Decimal(limit)
    assert entry in cap["entry"] and cap["entry"].startswith("Regulation (EC) No 1223/2009")
    assert set(cap["product_types"]) == products
    assert cap["basis"] == basis
    assert {member["inci"] for member in cap["members"]} == members
    assert cap["authority"] == "EU"


def test_guidance_is_not_counted_among_the_limits_of_law():
    code, entry, products, limit, basis, members = GUIDANCE
    cap = CAPS[code]
    assert (D(cap["limit"]), cap["basis"], set(cap["product_types"])) == (D(limit), basis, products)
    assert entry in cap["entry"] and cap["force"] == "guidance" and cap["severity"] == "caution"
    assert {member["inci"] for member in cap["members"]} == members
    assert all("force" not in cap for other, cap in CAPS.items() if other != code)
    over = product({"Lactic Acid": "10.5"})
    found = list(legal_limits(over))
    assert [(finding.code, finding.severity) for finding in found] == [(code, "caution")]
    assert "guidance that is not law" in found[0].words
    assert closing(over, found).startswith("No coded limit exceeded (EU list")


@pytest.mark.parametrize(("code", "products", "inci", "severity", "date"), SILOXANES, ids=[row[0] for row in SILOXANES])
def test_a_cyclic_siloxane_is_too_much_at_the_limit_already(code, products, inci, severity, date):
    """ "0,1 % by weight or more": 0.1 % exactly is refused, 0.0999 % is near the limit."""
    cap = CAPS[code]
    assert (D(cap["limit"]), set(cap["product_types"]), cap["reaches"]) == (D("0.1"), products, True)
    assert "entry 70" in cap["entry"] and date in cap.get("applies", "")
    for kind in products:
        assert [(f.code, f.severity) for f in legal_limits(product({inci: "0.1"}, kind))] == [(code, severity)]
        assert [f.code for f in legal_limits(product({inci: "0.0999"}, kind))] == [f"{code}.near"]
        assert list(legal_limits(product({inci: "0.05"}, kind))) == []


# What an entry says beside the limit that is coded, as its text prints it: other products, and who it is not for.
BESIDE = [
    ("cap.c16_c18_quat_sum_leave_on", ("face", "0.5 %")),  # entry 286 (c)
    ("cap.benzoic_acid", ("Oral", "1.7 %")),  # Annex V entry 1: "oral products: 1,7 % (as acid)"
    ("cap.dehydroacetic_acid", ("aerosol dispensers",)),  # entry 13: "Not to be used in aerosol dispensers (sprays)"
    ("cap.salicylic_acid", ("under three",)),  # entry 3: "not to be used ... for children under 3 years of age"
    # Cosmetic Ingredient Review, Int. J. Toxicology 36, Supplement 2 (2017): 10 %, pH 3.5, sun; in salons 30 %, pH 3.0
    ("cap.alpha_hydroxy_acids", ("pH 3.5 or more", "sun", "30 %", "pH 3.0 or more")),
]


@pytest.mark.parametrize(("code", "words"), BESIDE)
def test_what_an_entry_says_beside_its_limit_is_kept(code, words):
    kept = f"{CAPS[code].get('applies', '')} {CAPS[code].get('note', '')}"
    for said in words:
        assert said in kept, said


def test_every_coded_cap_is_checked_here():
    checked = [*LAW, *SILOXANES, GUIDANCE]
    assert set(CAPS) == {row[0] for row in checked}
    assert len(FILE["cap"]) == len(CAPS) == len(checked)


def test_a_cap_says_whether_the_law_text_was_read():
    for code, *_ in [*LAW, *SILOXANES, GUIDANCE]:
        assert CAPS[code]["kind"] == "handbook" and CAPS[code]["checked_on"] in ("2026-11-24", "2026-11-25")
        assert SOURCES[CAPS[code]["source"]]["read"] <= CAPS[code]["checked_on"]
    assert all(cap["kind"] != "memory" for cap in CAPS.values())


def test_every_conversion_rests_on_known_masses():
    """Of the kit's own substances, or stated in the file of limits; the stated ones by molmass, to the last digit."""
    stated = {member["inci"]: member for cap in CAPS.values() for member in cap["members"] if "g_per_mol" in member}
    acids = FILE["g_per_mol"]
    for row, mass in [
        *((row, row["g_per_mol"]) for row in stated.values()),
        *((r, r["value"]) for r in acids.values()),
    ]:
        assert float(mass) == pytest.approx(Formula(row["formula"]).mass, abs=0.02), row
    for code, cap in CAPS.items():
        for member in (member for member in cap["members"] if "as" in member):
            assert member["inci"] in stated or "molar_mass" in SUBSTANCES[member["inci"]], code
            assert member["as"] in acids or "molar_mass" in SUBSTANCES[member["as"]], code
            assert D(member["ratio"]) > 0
            assert cap["basis"] == "as acid"


def test_a_calcium_salt_holds_two_acids():
    """Ca(C7H5O2)2: 2 x 122.121 / 282.30 = 0.8652 of benzoic acid; counted once it would be 0.4326."""
    member = next(row for row in CAPS["cap.benzoic_other_salts"]["members"] if row["inci"] == "Calcium Benzoate")
    factor = Fraction(SUBSTANCES["Benzoic Acid"]["molar_mass"]["value"]) / Fraction(member["g_per_mol"])
    assert float(factor * Fraction(member["ratio"])) == pytest.approx(0.8652, abs=2e-4)
    # 0.57 % x 0.8652 = 0.4932 % (near, under 0.5 %); 0.58 % x 0.8652 = 0.5018 %
    assert [f.code for f in legal_limits(product({"Calcium Benzoate": "0.57"}))] == ["cap.benzoic_other_salts.near"]
    assert [f.code for f in legal_limits(product({"Calcium Benzoate": "0.58"}))] == ["cap.benzoic_other_salts"]


def test_each_salt_is_counted_as_its_acid():
    """By molmass: benzoic / benzoate = 122.121 / 144.103 = 0.8475, sorbic / sorbate = 112.127 / 150.217 = 0.7464,
    dehydroacetic / dehydroacetate = 168.147 / 190.129 = 0.8844.

    So 2.5 % of acid is 2.95 % of sodium benzoate and 0.6 % of acid is 0.80 % of potassium sorbate; the null model, salt
    counted as acid, is 0.15 and 0.25 off.
    """
    for code, salt, acid, factor in (
        ("cap.benzoic_acid", "Sodium Benzoate", "Benzoic Acid", 0.8475),
        ("cap.benzoic_acid_leave_on", "Sodium Benzoate", "Benzoic Acid", 0.8475),
        ("cap.sorbic_acid", "Potassium Sorbate", "Sorbic Acid", 0.7464),
        ("cap.dehydroacetic_acid", "Sodium Dehydroacetate", "Dehydroacetic Acid", 0.8844),
    ):
        member = next(member for member in CAPS[code]["members"] if member["inci"] == salt)
        assert (member["as"], member["ratio"]) == (acid, "1")
        reference = Formula(SUBSTANCES[acid]["formula"]).mass / Formula(SUBSTANCES[salt]["formula"]).mass
        printed = Decimal(SUBSTANCES[acid]["molar_mass"]["value"]) / Decimal(SUBSTANCES[salt]["molar_mass"]["value"])
        assert reference == pytest.approx(factor, abs=5e-5)
        assert float(printed) == pytest.approx(reference, abs=5e-5)


def test_behentrimonium_methosulfate_is_not_summed_with_the_chlorides():
    """Entry 287 names behentrimonium chloride, CAS 17301-53-0, EC 241-327-0, and no other salt."""
    assert all(member["inci"] != "Behentrimonium Methosulfate" for cap in CAPS.values() for member in cap["members"])
    assert (SUBSTANCES["Behentrimonium Chloride"]["cas"], SUBSTANCES["Behentrimonium Chloride"]["ec"]) == (
        "17301-53-0",
        "241-327-0",
    )
    assert (SUBSTANCES["Cetrimonium Chloride"]["cas"], SUBSTANCES["Cetrimonium Chloride"]["ec"]) == (
        "112-02-7",
        "203-928-6",
    )
    assert (SUBSTANCES["Steartrimonium Chloride"]["cas"], SUBSTANCES["Steartrimonium Chloride"]["ec"]) == (
        "112-03-8",
        "203-929-1",
    )


def product(contents: dict[str, str], kind: str = RINSE, **categories: str) -> Composition:
    """A product of neat ingredients in water; molar masses are those of the kit's own file where it has them."""
    rows = {**contents, "Aqua": str(100 - sum(D(pct) for pct in contents.values()))}
    lines = [CompositionLine(_neat(inci, categories), D(pct)) for inci, pct in rows.items()]
    return Composition(tuple(lines), product=kind)


def _neat(inci: str, categories: dict[str, str]) -> Material:
    known = Substance.read(SUBSTANCES[inci]) if inci in SUBSTANCES else Substance(inci, "active")
    if inci.replace(" ", "_") in categories:
        known = Substance(inci, categories[inci.replace(" ", "_")])
    return Material(inci.lower().replace(" ", "-"), inci, (Part(known, D(100)),))


def codes(contents: dict[str, str], kind: str = RINSE) -> list[str]:
    return [finding.code for finding in legal_limits(product(contents, kind))]


def test_cetrimonium_and_steartrimonium_alone_and_together():
    """Entry 286: rinse-off 2.5 %, leave-on hair 1.0 %, "individual ... or the sum". 1.3 + 1.3 = 2.6."""
    assert codes({"Cetrimonium Chloride": "2.6"}) == ["cap.c16_c18_quat_sum"]
    assert codes({"Cetrimonium Chloride": "1.3", "Steartrimonium Chloride": "1.3"}) == ["cap.c16_c18_quat_sum"]
    assert codes({"Cetrimonium Chloride": "1.3"}) == []
    assert codes({"Cetrimonium Chloride": "1.3"}, LEAVE) == ["cap.c16_c18_quat_sum_leave_on"]
    # At the limit is not above it.
    assert codes({"Cetrimonium Chloride": "2.5"}) == ["cap.c16_c18_quat_sum.near"]
    # Behentrimonium chloride: 5.0 and 3.0.
    assert codes({"Behentrimonium Chloride": "3.5"}, LEAVE) == ["cap.quat_sum_leave_on"]
    assert codes({"Behentrimonium Chloride": "3.5"}) == []
    assert codes({"Behentrimonium Chloride": "3.5", "Cetrimonium Chloride": "2.0"}) == ["cap.quat_sum"]


def test_parabens_are_counted_as_the_acid_alone_and_together():
    """4-Hydroxybenzoic acid 138.12 (C7H6O3), methylparaben 152.15, propylparaben 180.20: 0.44 x 0.90779 = 0.3994 and
    0.45 x 0.90779 = 0.4085; 0.19 x 0.76648 = 0.1456 of 0.14; 0.40 of each of methyl and ethyl (166.17): 0.3631 + 0.3325
    = 0.6956, and with 0.15 of propyl, 0.1150, 0.8106 of 0.8.
    """
    assert codes({"Methylparaben": "0.44"}) == ["cap.methylparaben.near"]
    assert codes({"Methylparaben": "0.45"}) == ["cap.methylparaben"]
    assert codes({"Propylparaben": "0.19"}) == ["cap.propyl_butylparaben"]
    assert codes({"Methylparaben": "0.40", "Ethylparaben": "0.40"}) == []
    assert codes({"Methylparaben": "0.40", "Ethylparaben": "0.40", "Propylparaben": "0.15"}) == ["cap.parabens"]
    assert codes({"Iodopropynyl Butylcarbamate": "0.015"}) == []
    assert codes({"Iodopropynyl Butylcarbamate": "0.015"}, LEAVE) == ["cap.iodopropynyl_butylcarbamate_leave_on"]


def test_the_salt_that_makes_the_limit_is_at_it():
    """2.95 x 122.12134 / 144.103169 = 2.5000002: above 2.5 by 1e-7 of itself, which molar masses printed to five or six
    digits cannot tell; 2.951 gives 2.50085, which they can. Phenoxyethanol is weighed as such: 1.000001 is above 1.0.
    """
    at_limit = next(iter(legal_limits(product({"Sodium Benzoate": "2.95"}))))
    assert at_limit.code == "cap.benzoic_acid.near"
    assert "2.50 % as acid, at the limit of 2.5 %" in at_limit.words
    assert codes({"Sodium Benzoate": "2.951"}) == ["cap.benzoic_acid"]
    assert codes({"Phenoxyethanol": "1.000001"}) == ["cap.phenoxyethanol"]
    assert "at the limit of 1.0 %" in next(iter(legal_limits(product({"Phenoxyethanol": "1.00"})))).words
    assert "within 5 % of the limit of 1.0 %" in next(iter(legal_limits(product({"Phenoxyethanol": "0.96"})))).words
    # 8.620689655 x 0.29 = 2.49999999995: read with two decimals, not with eight
    nearly = next(iter(legal_limits(product({"Cetrimonium Chloride": "2.49999999995"}))))
    assert "2.50 % as the chloride, at the limit" in nearly.words


def test_preservatives_often_met():
    """Entries 39, 57, 50; caprylhydroxamic acid stands in no entry of Annex V."""
    # 15 ppm: 0.0012 + 0.0004 = 0.0016 %
    assert codes({"Methylchloroisothiazolinone": "0.0012", "Methylisothiazolinone": "0.0004"}) == [
        "cap.isothiazolinones"
    ]
    assert codes({"Methylisothiazolinone": "0.0014"}) == []
    assert codes({"Methylisothiazolinone": "0.0001"}, LEAVE) == ["cap.isothiazolinones_leave_on"]
    words = next(iter(legal_limits(product({"Methylisothiazolinone": "0.0001"}, LEAVE)))).words
    assert "not allowed" in words and "Take it out" in words
    assert codes({"Chlorphenesin": "0.31"}) == ["cap.chlorphenesin"]
    assert codes({"Phenoxyethanol": "1.01"}) == ["cap.phenoxyethanol"]
    assert codes({"Benzyl Alcohol": "1.01"}) == ["cap.benzyl_alcohol"]
    members = {member["inci"] for cap in CAPS.values() for member in cap["members"]}
    assert "Caprylhydroxamic Acid" not in members


def test_salicylic_acid_is_judged_by_its_purpose():
    """0.5 % as the preservative (a caution, the purpose is not known to a formula), 3.0 % for another purpose."""
    found = {finding.code: finding for finding in legal_limits(product({"Salicylic Acid": "1.0"}))}
    assert found.keys() == {"cap.salicylic_acid"}
    assert (
        found["cap.salicylic_acid"].severity == "caution" and "as the preservative" in found["cap.salicylic_acid"].words
    )
    assert set(codes({"Salicylic Acid": "3.1"})) == {"cap.salicylic_acid", "cap.salicylic_acid_other"}
    assert set(codes({"Salicylic Acid": "2.1"}, LEAVE)) == {"cap.salicylic_acid", "cap.salicylic_acid_other_leave_on"}


def test_a_uv_filter_is_counted_as_the_acid():
    """Benzophenone-5 is the sodium salt of benzophenone-4: 308.31 / 330.29 = 0.93345; 5.3 x 0.93345 = 4.947 "
    "(near), 5.4 x = 5.041."""
    assert codes({"Benzophenone-5": "5.3"}) == ["cap.benzophenone_4.near"]
    assert codes({"Benzophenone-5": "5.4"}) == ["cap.benzophenone_4"]


def test_the_preservative_limit_of_entry_44_is_told_where_nothing_else_preserves():
    """Entry 44, 0.1 %, holds where the substance is the preservative.

    Entries 286 and 287 hold "for purposes other than inhibiting the development of micro-organisms". A conditioner at
    2 % active quat would otherwise stop at every review.
    """
    assert all("Annex V entry 44" not in cap["entry"] for cap in CAPS.values())
    row = CONDITIONS["cap.quat_as_preservative"]
    assert (D(row["limit"]), row["entry"]) == (D("0.1"), "Regulation (EC) No 1223/2009 Annex V entry 44")
    alone = product({"Cetrimonium Chloride": "2.0"})
    assert [finding.code for finding in law_conditions(alone)] == ["cap.quat_as_preservative"]
    assert "0.1 %" in next(iter(law_conditions(alone))).words
    preserved = product({"Cetrimonium Chloride": "2.0", "Phenoxyethanol": "0.8"}, Phenoxyethanol="preservative")
    assert list(law_conditions(preserved)) == []


# code, entry, limit where the condition has one, words the law prints
TOLD = [
    # (EU) 2022/1181: "labelled with the warning 'releases formaldehyde' where the total concentration of formaldehyde
    # released in the finished product exceeds 0,001 % (10 ppm)"
    ("cap.formaldehyde_label", "Annex V preamble", "0.001", ("releases formaldehyde", "0.001 % (10 ppm)")),
    # Entry 62: "Minimum purity: 99 %. Maximum secondary amine content: 0,5 % (applies to raw materials). Maximum
    # nitrosamine
    # content: 50 ug/kg. Keep in nitrite-free containers. Not to be used with nitrosating systems"
    (
        "cap.nitrosamines",
        "Annex III entry 62",
        None,
        ("99 %", "0.5 %", "50 microgram/kg", "nitrite-free", "nitrosating"),
    ),
    # Entry 307: "Maximum molecular weight average of the peptides in hydrolysates is 3.5 kDa"
    ("cap.wheat_peptides", "Annex III entry 307", "3.5", ("3.5 kDa",)),
    # Entry 66: "Body-leave-on products: 0.1 mg/kg; other: Maximum residual acrylamide content 0.5 mg/kg"
    ("cap.residual_acrylamide", "Annex III entry 66", "0.5", ("0.5 mg/kg", "0.1 mg/kg")),
    ("cap.silicone_residues", "Annex XVII entry 70", "0.1", ("D4, D5 and D6", "0.1 %")),
]


@pytest.mark.parametrize(("code", "entry", "limit", "words"), TOLD, ids=[row[0] for row in TOLD])
def test_a_condition_that_contents_cannot_check_is_told(code, entry, limit, words):
    row = CONDITIONS[code]
    assert entry in row["entry"] and row.get("limit") == limit
    inci = row["members"][0]["inci"]
    composition = product({inci: "1.0"})
    assert [condition.code for condition in conditions_met(composition)] == [code]
    finding = next(iter(law_conditions(composition)))
    assert finding.severity == "note" and inci in finding.words and all(word in finding.words for word in words)
    assert conditions_met(product({"Glycerin": "1.0"})) == []


def test_every_condition_is_checked_here():
    assert set(CONDITIONS) == {row[0] for row in TOLD} | {"cap.quat_as_preservative"}


def test_the_ph_that_is_tied_to_an_ingredient():
    """Guidance on alpha hydroxy acids: pH 3.5 or more (CIR). Entries 15a to 15c: pH adjuster, "pH < 11"."""

    def found(inci, low, high):
        spec = (SpecLine("pH", D(low), D(high), "1"),)
        return [(finding.code, finding.severity) for finding in ph_conditions(product({inci: "0.5"}), spec)]

    assert found("Lactic Acid", "3.4", "4.5") == [("cap.alpha_hydroxy_acids_ph", "caution")]
    assert found("Lactic Acid", "3.5", "4.5") == []
    assert found("Citric Acid", "3.0", "4.5") == []
    assert found("Sodium Hydroxide", "4.0", "11.0") == [("cap.alkali_ph", "stop")]
    assert found("Sodium Hydroxide", "4.0", "10.9") == []
