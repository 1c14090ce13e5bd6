"""The shipped example formulas: what stands in each line, that it closes to 100.00, its charge and ratio by hand.

The percentages are typed here a second time, so that a slip in a file does not agree with itself. Molar masses come
from molmass, which sums the IUPAC standard atomic weights over the structures typed below. Cetearyl alcohol is 30:70
cetyl and stearyl by weight (Handbook of Pharmaceutical Excipients: 20 to 35 % cetyl, 50 to 70 % stearyl). All formulas
are invented.
"""

from __future__ import annotations

import tomllib
from decimal import Decimal
from pathlib import Path

import pytest
from molmass import Formula as Structure

from kit.formula.derived import derived
from kit.formula.files import load_formula
from kit.formula.library import load_library
from kit.formula.rules import heat

DEMO = Path(__file__).resolve().parents[2] / "kit" / "demo"
PATHS = {"linden": DEMO / "linden.toml"} | {path.stem: path for path in sorted((DEMO / "formulas").glob("*.toml"))}
LIBRARY = load_library()

BTAC, CTAC = "CH3(CH2)21N(CH3)3Cl", "CH3(CH2)15N(CH3)3Cl"
BTMS, SAPDMA = "CH3(CH2)21N(CH3)3CH3OSO3", "CH3(CH2)16CONH(CH2)3N(CH3)2"
CETYL, STEARYL, BEHENYL = "CH3(CH2)15OH", "CH3(CH2)17OH", "CH3(CH2)21OH"

LINES = {
    "linden": """
        A water-deionised 82.95, glycerin 3.00, hydroxyethylcellulose 0.20, disodium-edta 0.10, citric-acid 0.05
        B cetearyl-alcohol 5.00, behentrimonium-chloride-80 2.50, caprylic-capric-triglyceride 2.50, cetyl-esters 0.50
        C panthenol-75 0.70, tilia-cordata-flower-extract 1.00, phenoxyethanol 0.80, ethylhexylglycerin 0.10,
          sodium-benzoate 0.20, parfum 0.40""",
    "chamomile": """
        A water-deionised 83.44, glycerin 3.00, hydroxyethylcellulose 0.30, lactic-acid-88 0.66,
          tetrasodium-glutamate-diacetate-38 0.20
        B stearamidopropyl-dimethylamine 2.00, cetearyl-alcohol 5.00, helianthus-annuus-seed-oil 2.00
        C hydrolyzed-oat-protein-20 1.00, chamomilla-recutita-flower-extract 1.00, benzyl-alcohol 0.80,
          dehydroacetic-acid 0.20, parfum 0.40""",
    "calendula": """
        A water-deionised 81.94, propanediol 3.00, hydroxyethylcellulose 0.20,
          guar-hydroxypropyltrimonium-chloride 0.20, disodium-edta 0.10, citric-acid 0.06
        B behentrimonium-methosulfate-25 6.00, cetyl-alcohol 2.00, simmondsia-chinensis-seed-oil 2.00,
          butyrospermum-parkii-butter 1.00
        C calendula-officinalis-flower-extract 1.00, hydrolyzed-rice-protein-20 1.00, phenoxyethanol 0.80,
          caprylyl-glycol 0.30, potassium-sorbate 0.10, parfum 0.30""",
    "hibiscus": """
        A water-deionised 84.85, glycerin 3.00, hydroxyethylcellulose 0.30, tetrasodium-glutamate-diacetate-38 0.20,
          citric-acid 0.25
        B behentrimonium-chloride-80 2.50, cetearyl-alcohol 5.00, isopropyl-myristate 2.00
        C hibiscus-sabdariffa-flower-extract 1.00, sodium-benzoate 0.40, potassium-sorbate 0.20, parfum 0.30""",
    "nettle": """
        A water-deionised 84.43, glycerin 3.00, hydroxyethylcellulose 0.30, disodium-edta 0.10, lactic-acid-88 0.07
        B behentrimonium-chloride-80 2.00, cetearyl-alcohol 5.00, helianthus-annuus-seed-oil 2.00, cetyl-esters 1.00
        C urtica-dioica-leaf-extract 0.50, phenoxyethanol 0.80, ethylhexylglycerin 0.10, sodium-benzoate 0.30,
          parfum 0.40""",
    "green-tea": """
        A water-deionised 83.55, glycerin 3.00, hydroxyethylcellulose 0.20, disodium-edta 0.10, citric-acid 0.05
        B behentrimonium-chloride-80 1.88, cetearyl-alcohol 5.00, isopropyl-palmitate 2.00
        C cetrimonium-chloride-29 1.72, camellia-sinensis-leaf-extract 1.00, phenoxyethanol 0.80,
          ethylhexylglycerin 0.10, sodium-benzoate 0.20, parfum 0.40""",
    "elderflower": """
        A water-deionised 88.70, propanediol 2.00, hydroxyethylcellulose 0.20, disodium-edta 0.10, citric-acid 0.05
        B behentrimonium-chloride-80 1.50, cetearyl-alcohol 3.50, coco-caprylate 1.00
        C panthenol-75 0.50, sambucus-nigra-flower-extract 1.00, phenoxyethanol 0.80, ethylhexylglycerin 0.10,
          sodium-benzoate 0.25, parfum 0.30""",
    "marshmallow": """
        A water-deionised 78.67, glycerin 4.00, polyquaternium-10 0.20, tetrasodium-glutamate-diacetate-38 0.15,
          citric-acid 0.03
        B behentrimonium-methosulfate-50 5.00, cetearyl-alcohol 4.00, behenyl-alcohol 0.50,
          butyrospermum-parkii-butter 2.00, squalane 1.50, tocopherol 0.05
        C althaea-officinalis-root-extract 1.50, hydrolyzed-oat-protein-20 1.00, benzyl-alcohol 0.80,
          dehydroacetic-acid 0.20, parfum 0.40""",
    "birch": """
        A water-deionised 86.05, glycerin 2.50, hydroxypropyl-methylcellulose 0.20, disodium-edta 0.10,
          lactic-acid-10-solution 3.80
        B stearamidopropyl-dimethylamine 1.20, cetearyl-alcohol 3.00, isopropyl-palmitate 1.00
        C betula-alba-leaf-extract 0.80, phenoxyethanol 0.80, ethylhexylglycerin 0.10, potassium-sorbate 0.15,
          parfum 0.30""",
    "mallow": """
        A water-deionised 83.05, glycerin 3.00, hydroxyethylcellulose 0.20, disodium-edta 0.10, citric-acid 0.05
        B behentrimonium-chloride-80 2.00, cetearyl-alcohol 4.50, glyceryl-stearate 0.60, ceteareth-20 0.30,
          caprylic-capric-triglyceride 2.00, dimethicone-350 1.00
        C malva-sylvestris-flower-extract 1.00, hydrolyzed-wheat-protein-25 0.80, phenoxyethanol 0.80,
          ethylhexylglycerin 0.10, sodium-benzoate 0.20, lavandula-angustifolia-oil 0.30""",
}

# Grams of pure cationic and of fatty alcohol in 100 g, then meq/100 g and mol/mol as printed on the bench sheet.
# Linden: 2.50 x 0.80 = 2.00 g / 404.16 = 4.95 meq; 5.00 g / 261.4 = 19.13 mmol; 19.13 / 4.95 = 3.9.
# Calendula: 6.00 x 0.25 = 1.50 g / 479.80 = 3.13 meq; the other 4.50 g are cetearyl alcohol; with 2.00 g of cetyl
# alcohol 4.50 / 261.4 + 2.00 / 242.44 = 17.21 + 8.25 = 25.46 mmol; 25.46 / 3.13 = 8.1.
# Green tea: 1.88 x 0.80 / 404.16 + 1.72 x 0.29 / 320.00 = 3.72 + 1.56 = 5.28 meq; 19.13 / 5.28 = 3.6.
# Marshmallow: 5.00 x 0.50 / 479.80 = 5.21 meq; 5.00 x 0.40 = 2.00 g of cetyl alcohol comes with it; 8.25 + 15.30 + 1.53
# = 25.08 mmol; 25.08 / 5.21 = 4.8.
NETWORK = {
    "linden": ({BTAC: 2.50 * 0.80}, {"cetearyl": 5.00}, "4.95", "3.9"),
    "chamomile": ({SAPDMA: 2.00}, {"cetearyl": 5.00}, "5.43", "3.5"),
    "calendula": ({BTMS: 6.00 * 0.25}, {"cetearyl": 6.00 * 0.75, CETYL: 2.00}, "3.13", "8.1"),
    "hibiscus": ({BTAC: 2.50 * 0.80}, {"cetearyl": 5.00}, "4.95", "3.9"),
    "nettle": ({BTAC: 2.00 * 0.80}, {"cetearyl": 5.00}, "3.96", "4.8"),
    "green-tea": ({BTAC: 1.88 * 0.80, CTAC: 1.72 * 0.29}, {"cetearyl": 5.00}, "5.28", "3.6"),
    "elderflower": ({BTAC: 1.50 * 0.80}, {"cetearyl": 3.50}, "2.97", "4.5"),
    "marshmallow": ({BTMS: 5.00 * 0.50}, {CETYL: 5.00 * 0.40, "cetearyl": 4.00, BEHENYL: 0.50}, "5.21", "4.8"),
    "birch": ({SAPDMA: 1.20}, {"cetearyl": 3.00}, "3.26", "3.5"),
    "mallow": ({BTAC: 2.00 * 0.80}, {"cetearyl": 4.50}, "3.96", "4.3"),
}


def typed(name: str) -> list[tuple[str, str, Decimal]]:
    """Phase, material and percentage of each line as typed above."""
    lines, phase = [], ""
    for row in LINES[name].split("\n"):
        words = row.strip()
        if words[:2] in ("A ", "B ", "C "):
            phase, words = words[0], words[2:]
        for item in filter(None, (part.strip() for part in words.split(","))):
            key, pct = item.split()
            lines.append((phase, key, Decimal(pct)))
    return lines


def mmol(structure: str, grams: float) -> float:
    if structure == "cetearyl":
        return mmol(CETYL, 0.30 * grams) + mmol(STEARYL, 0.70 * grams)
    return 1000 * grams / Structure(structure).mass


def composition(name: str):
    return load_formula(PATHS[name], LIBRARY).composition()


def test_the_shelf_of_examples_is_the_one_typed_here():
    assert PATHS.keys() == LINES.keys() == NETWORK.keys()
    assert len(PATHS) == 10


@pytest.mark.parametrize("name", LINES)
def test_every_line_is_as_typed_and_they_add_up_to_a_hundred(name):
    assert sum(pct for _, _, pct in typed(name)) == Decimal("100.00")
    found = [(line.phase, line.material.key, line.pct) for line in composition(name).lines]
    assert found == typed(name)


@pytest.mark.parametrize("name", LINES)
def test_the_written_percentages_are_those_of_the_file(name):
    """Read without the kit: every weighed line stands in the file as typed, and water alone is left open."""
    table = tomllib.loads(PATHS[name].read_text(encoding="utf-8"))
    written = [(line["material"], line.get("pct")) for phase in table["phase"] for line in phase["line"]]
    assert [key for key, pct in written if pct is None] == ["water-deionised"]
    assert {key: Decimal(pct) for key, pct in written if pct} == {
        key: pct for _, key, pct in typed(name) if key != "water-deionised"
    }
    assert "not a recipe to use on people" in table["note"]


@pytest.mark.parametrize("name", NETWORK)
def test_active_cationic_and_ratio_by_hand(name):
    cationics, alcohols, printed_meq, printed_ratio = NETWORK[name]
    meq = sum(mmol(structure, grams) for structure, grams in cationics.items())
    ratio = sum(mmol(structure, grams) for structure, grams in alcohols.items()) / meq
    assert meq == pytest.approx(float(printed_meq), abs=0.0051)
    assert ratio == pytest.approx(float(printed_ratio), abs=0.0501)
    shown = derived(composition(name))
    assert float(shown.cationic_meq_per_100g) == pytest.approx(meq, abs=0.001)
    assert float(shown.alcohol_cationic_ratio) == pytest.approx(ratio, abs=0.001)


@pytest.mark.parametrize("name", LINES)
def test_the_making_keeps_what_heat_spoils_cool_and_melts_what_must_melt(name):
    """Phase C at 38 degC, below 40 (benzyl alcohol, read) and 45 (extracts, fragrance); phase B above its last wax."""
    formula = load_formula(PATHS[name], LIBRARY)
    whole = formula.composition()
    found = [finding.code for rule in (heat.limit, heat.melt, heat.combined_cold) for finding in rule(whole)]
    assert found == []
    adds = [step for step in formula.steps if step.do == "add"]
    assert [step.phase for step in adds] == ["C"]
    assert adds[0].temp_c == 38


@pytest.mark.parametrize("name", LINES)
def test_a_normal_formula_is_left_in_peace(name):
    """An ordinary conditioner of common make-up (common practice, no source): notes at most, nothing to stop."""
    severities = {finding.severity for finding in load_formula(PATHS[name], LIBRARY).review().findings}
    assert severities <= {"note"}


def test_the_amidoamines_meet_enough_acid():
    """Chamomile: 0.66 x 0.88 / 90.08 = 6.45 meq against 2.00 / 368.65 = 5.43. Birch: 3.80 x 0.099968 / 90.08 = 4.22
    against 1.20 / 368.65 = 3.26; the stock is 11.36 g of the 88 % acid in 100 g.
    """
    assert 1000 * 0.66 * 0.88 / 90.08 > 1.03 * 1000 * 2.00 / 368.65
    assert 1000 * 3.80 * 0.1136 * 0.88 / 90.08 > 1.03 * 1000 * 1.20 / 368.65
    for name in ("chamomile", "birch"):
        assert "charge.amine_counted" in load_formula(PATHS[name], LIBRARY).review().codes
