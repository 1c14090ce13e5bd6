"""The rules: spoiled formulas and what must be said of them, and normal ones of which little must be said.

Limits of law are those of Regulation (EC) No 1223/2009, Annexes III and V (see tests/published). All other limits are
common practice, no source, except where a line names one. Arithmetic stands beside each row.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

WATER = '{ material = "water-deionised", qs = true }'
CETEARYL = '"cetearyl-alcohol", pct = "5.00"'
BTAC = '"behentrimonium-chloride-80", pct = "2.50"'
MCT = '"caprylic-capric-triglyceride", pct = "2.50"'
BTMS = '"behentrimonium-methosulfate-25", pct = "6.00"'
LACTIC = '"lactic-acid-88", pct = "0.70"'
HEC = '"hydroxyethylcellulose", pct = "0.20"'
EDTA = '"disodium-edta", pct = "0.10"'
PANTHENOL = '"panthenol-75", pct = "0.70"'
PHENOXY = '"phenoxyethanol", pct = "0.80"'
BENZOATE = '"sodium-benzoate", pct = "0.20"'
EHG = '"ethylhexylglycerin", pct = "0.10"'
GLYCERIN = '"glycerin", pct = "3.00"'
PARFUM = '"parfum", pct = "0.40"'
PH = "low = 4.3\nhigh = 4.9"
AMINE = '"stearamidopropyl-dimethylamine"'
OWN_AMINE = '"brassicamidopropyl-dimethylamine"'
COOL, ADD_C = 'do = "cool"\ntemps = "40 degC"', 'phase = "C"\ntemps = "40 degC"'
HEAT_A, HEAT_B = 'phase = "A"\ntemps = "78 degC"', 'phase = "B"\ntemps = "82 degC"'
LEAVE_ON = ('product = "rinse-off hair"', 'product = "leave-on hair"')


def _line(key: str, pct: str) -> str:
    return f'"{key}", pct = "{pct}"'


def _to(old: str, pct: str) -> tuple[str, str]:
    """The same line at another percentage."""
    return old, _line(old.split('"')[1], pct)


def _water(pct: str) -> tuple[str, str]:
    return WATER, WATER.replace("qs = true", f'pct = "{pct}"')


def _also(old: str, key: str, pct: str) -> tuple[str, str]:
    """A further line beside an old one."""
    return old, f"{old} }},\n  {{ material = {_line(key, pct)}"


# fmt: off
UNPRESERVED = [(PHENOXY, _line("propanediol", "0.80")), (BENZOATE, _line("propanediol", "0.20")),
               (EHG, _line("propanediol", "0.10"))]
# Phenoxyethanol takes the place of glycerin in the water phase, which is heated to 75 degC; the batch is then at 77.
PRESERVATIVE_HEATED = [(PHENOXY, _line("propanediol", "3.00")), (GLYCERIN, _line("phenoxyethanol", "0.80")),
                       (HEAT_A, HEAT_A.replace("78", "75")), ('{ A = "78 degC"', '{ A = "75 degC"')]
OIL_COLD = [(HEAT_B, HEAT_B.replace("82", "70")),
            ('B = "82 degC", after = "77 degC"', 'B = "70 degC", after = "70 degC"')]
WATER_COLD = [(HEAT_A, HEAT_A.replace("78", "25")), ('{ A = "78 degC"', '{ A = "25 degC"'),
              ('after = "77 degC"', 'after = "35 degC"')]

# name, example, replacements, code, severity, value (None: not compared)
SPOILED = [
    ("99.8 %", "linden", [_water("82.75")], "formula.total", "stop", "99.80"),
    ("100.02 %", "linden", [_water("82.97")], "formula.total", "stop", "100.02"),
    ("two q.s.", "linden", [(GLYCERIN, '"glycerin", qs = true')], "formula.qs_two", "stop", "2"),
    # 82.95 + 5.00 of alcohol leave exactly nothing for water
    ("q.s. zero", "linden", [_to(CETEARYL, "87.95")], "formula.qs_zero", "stop", "0"),
    ("negative water", "linden", [_to(CETEARYL, "90.00")], "formula.negative_water", "stop", "-2.05"),
    # CTAC 2.0 and BTAC 3.5 active: each within its own ceiling, 5.5 together
    ("sum of quats", "linden", [(BTAC, _line("behentrimonium-chloride-neat", "3.5")),
                                _also(HEC, "cetrimonium-chloride-neat", "2.0")], "cap.quat_sum", "stop", "5.5"),
    ("C16 and C18 quats", "linden", [(BTAC, _line("cetrimonium-chloride-neat", "1.5")),
                                     _also(HEC, "steartrimonium-chloride-80", "1.30")],
     "cap.c16_c18_quat_sum", "stop", "2.54"),                                               # 1.5 + 1.30 x 0.80
    ("trade % is not active %", "linden", [_to(BTAC, "6.30")], "cap.quat_sum", "stop", "5.04"),       # 6.30 x 0.80
    ("phenoxyethanol", "linden", [_to(PHENOXY, "1.01")], "cap.phenoxyethanol", "stop", "1.01"),
    ("phenoxyethanol at its limit", "linden", [_to(PHENOXY, "1.00")], "cap.phenoxyethanol.near", "note", "1.00"),
    ("phenoxyethanol near", "linden", [_to(PHENOXY, "0.95")], "cap.phenoxyethanol.near", "note", "0.95"),
    ("leave-on benzoate", "linden", [LEAVE_ON, _to(BENZOATE, "0.60")], "cap.benzoic_acid_leave_on", "stop", None),
    ("xanthan with a quat", "calendula", [(HEC, _line("xanthan-gum", "0.30"))],
     "charge.anionic_polymer", "stop", "0.30"),
    # 27 % of M 376.48: 1.00 % brings 0.717 meq, 0.145 of the 4.949 of cationic
    ("sulfate", "linden", [_also(HEC, "sodium-laureth-sulfate-27", "1.00")], "charge.anionic_surfactant", "stop", None),
    # 0.20 % brings 0.143 meq, 0.029
    ("a little sulfate", "linden", [_also(HEC, "sodium-laureth-sulfate-27", "0.20")],
     "charge.anionic_surfactant", "caution", None),
    # 25 % of M 357.5: 1.00 % brings 0.699 meq, 0.141, above 0.1 for a carboxylate
    ("soft anionic", "linden", [_also(HEC, "sodium-cocoyl-glutamate-25", "1.00")],
     "charge.anionic_surfactant", "caution", None),
    ("phytate", "linden", [('"disodium-edta"', '"sodium-phytate-50"')], "charge.hard_chelator", "note", None),
    ("phosphate thickener", "linden", [(HEC, _line("distarch-phosphate", "0.50"))],
     "charge.weak_thickener", "note", None),
    # 0.45 x 0.88 / 90.08 = 4.396 meq of acid, and the third proton of disodium EDTA, 0.10 / 372.24 = 0.269 mmol: 4.665
    # for 5.425 of amine: 0.86 equivalents
    ("amine short of acid", "meadowsweet", [_to(LACTIC, "0.45")], "charge.amine_acid", "stop", None),
    # 0.51: (4.982 + 0.269) / 5.425 = 0.968, under 0.97
    ("amine a little short", "meadowsweet", [_to(LACTIC, "0.51")], "charge.amine_acid", "caution", None),
    # 0.54: (5.275 + 0.269) / 5.425 = 1.022, inside 3 % of one equivalent
    ("amine at its equivalence", "meadowsweet", [_to(LACTIC, "0.54")], "charge.amine_near", "caution", None),
    # 0.10 % of NaOH takes 0.10 / 39.997 = 2.500 meq of the 6.838: (4.338 + 0.269) / 5.425 = 0.849
    ("lye takes the acid", "meadowsweet", [_also(LACTIC, "sodium-hydroxide", "0.10")],
     "charge.amine_acid", "stop", None),
    ("amine at pH 5.8", "meadowsweet", [('high = "4.8"', 'high = "5.8"')], "charge.amine_ph", "caution", "5.8"),
    ("amine at pH 6.8", "meadowsweet", [('high = "4.8"', 'high = "6.8"')], "charge.amine_ph", "stop", "6.8"),
    ("esterquat at pH 4.9", "linden", [(BTAC, _line("dioleoylethyl-hydroxyethylmonium-methosulfate-75", "2.50"))],
     "charge.esterquat_ph", "caution", "4.9"),                                              # its window ends at 4
    ("strong lactic acid", "meadowsweet", [], "acid.lactic_oligomers", "note", None),
    ("enough acid", "meadowsweet", [], "charge.amine_counted", "note", None),           # 0.70 x 0.88 / 90.08 = 6.838
    # 2000 / 261.42 = 7.650 mmol of alcohol for 4.949 of cationic: 1.546
    ("ratio low", "linden", [_to(CETEARYL, "2.00")], "network.ratio_low", "caution", None),
    # 3000 / 261.42 = 11.476; / 4.949 = 2.32
    ("ratio on the thin side", "linden", [_to(CETEARYL, "3.00")], "network.ratio_thin", "note", None),
    # 8000 / 261.42 = 30.602; / 4.949 = 6.18
    ("ratio on the grainy side", "linden", [_to(CETEARYL, "8.00")], "network.ratio_grain", "note", None),
    # 1.00 + 0.80 + half of 0.50 of cetyl esters = 2.05 g in some 91 g
    ("little network", "linden", [_to(CETEARYL, "1.00"), _to(BTAC, "1.00")], "network.lipid_low", "note", None),
    # 9.00 + 2.00 + 0.25 = 11.25 beside 79.6 of water: 12.4 %
    ("much network", "linden", [_to(CETEARYL, "9.00")], "network.lipid_high", "note", None),
    # 7.50 of oil on 5.00 + 2.00 + 0.25 = 7.25: 1.03
    ("more oil than network", "linden", [_to(MCT, "7.50")], "network.oil_load", "note", None),
    # 9.00 on 2.00 + 2.00 + 0.25 = 4.25: 2.12
    ("oil the network cannot carry", "linden", [_to(MCT, "9.00"), _to(CETEARYL, "2.00")],
     "network.oil_load", "caution", None),
    # 19.126 / (800 / 404.16 = 1.979) = 9.66
    ("ratio high, neat quat", "linden", [_to(BTAC, "1.00")], "network.ratio_high", "caution", None),
    ("ratio high, blend", "calendula", [], "network.ratio_high", "note", None),             # 8.14: meant that way
    # 3.00 x 0.75 / 586.5 = 3.836 mmol; 1.00 % of alcohol = 3.825: 1.0, which two-chain quats are used at
    ("ratio low, two chains", "linden", [(BTAC, _line("distearyldimonium-chloride-75", "3.00")), _to(CETEARYL, "1.00")],
     "network.ratio_low", "note", None),
    ("alcohol hidden in a blend", "calendula", [], "network.blend_alcohol", "note", "4.50"),          # 6.00 x 0.75
    ("too much alcohol", "linden", [_to(CETEARYL, "10.01")], "network.alcohol_high", "caution", "10.01"),
    # 20.04 x 0.25; the caps of the chlorides do not name the methosulfate
    ("too much cationic", "calendula", [_to(BTMS, "20.04")], "network.cationic_high", "caution", "5.01"),
    ("no preservative", "linden", UNPRESERVED, "preservation.none", "stop", None),
    ("a booster is no preservative", "linden", [(PHENOXY, _line("caprylyl-glycol", "0.80")),
                                                (BENZOATE, _line("propanediol", "0.20"))],
     "preservation.booster_only", "caution", None),
    ("benzoate at pH 5.6", "linden", [(PH, 'low = "5.4"\nhigh = "5.6"')], "preservation.ph", "caution", None),
    ("benzoate alone at pH 5.6", "linden", [(PH, 'low = "5.4"\nhigh = "5.6"'), *UNPRESERVED[::2]],
     "preservation.ph", "stop", None),
    ("benzoate alone", "linden", UNPRESERVED[::2], "preservation.acids_only", "note", None),
    ("a window passed", "linden", [(PH, 'low = "2.8"\nhigh = "4.0"')], "range.ph_window", "caution", "2.8"),
    ("pH 3.2 asked for", "linden", [(PH, 'low = "3.2"\nhigh = "4.0"')], "range.ph_spec", "note", None),
    ("a viscosity like milk", "linden", [("low = 15000\nhigh = 25000", "low = 300\nhigh = 900")],
     "range.viscosity_spec", "caution", "900"),
    ("pH 2.5 asked for", "linden", [(PH, 'low = "2.5"\nhigh = "3.5"')], "range.ph_spec", "caution", None),
    ("preservative heated", "linden", PRESERVATIVE_HEATED, "heat.limit", "caution", "77"),
    ("cool-down into the hot batch", "linden", [(ADD_C, ADD_C.replace("40", "65"))], "heat.limit", "caution", "65"),
    ("cool-down right after combining", "linden", [(COOL, 'do = "note"'), (ADD_C, 'phase = "C"')],
     "heat.limit", "caution", "77"),
    ("oil phase too cold", "linden", OIL_COLD, "heat.melt", "caution", "70"),               # the flakes need 80
    ("95 degC", "linden", [(HEAT_A, HEAT_A.replace("78", "95"))], "heat.process", "caution", "95"),
    ("poured into cold water", "linden", WATER_COLD, "heat.combined_cold", "caution", "35"),
    ("a slip of the decimal", "linden", [_to(PARFUM, "1.50")], "range.use", "caution", "1.50"),
    ("too much fragrance", "linden", [_to(PARFUM, "1.60")], "range.fragrance", "caution", "1.60"),
    ("below the use range", "linden", [_to(BENZOATE, "0.05")], "range.use", "note", "0.05"),
    # 2.80 x 0.75, above the 2 % active of the tests' own lot
    ("range given as active", "linden", [_to(PANTHENOL, "2.80")], "range.use", "caution", "2.10"),
    ("more oil than its kind", "linden", [_to(MCT, "4.50")], "range.kind", "note", None),  # typical: up to 4
    ("too much oil", "linden", [_to(MCT, "10.50")], "range.oil", "caution", "10.50"),
    ("too little water", "linden", [_to(GLYCERIN, "27.00")], "range.water", "caution", "59.587"),     # 83.587 - 24
    ("tacky", "linden", [_to(GLYCERIN, "15.00")], "range.humectant", "caution", "16.025"),  # 15 + 0.5 + 0.525
    ("stringy", "linden", [_to(HEC, "1.05")], "range.thickener", "caution", "1.05"),
    ("chelator", "linden", [_to(EDTA, "0.60")], "range.chelator", "caution", "0.60"),
    ("nonionic emulsifiers", "linden", [(MCT, _line("prunus-amygdalus-dulcis-oil", "2.50")),
                                        _also(HEC, "laureth-23", "0.50")], "network.hlb_hint", "note", None),
    ("mass of the amine not known", "meadowsweet", [(AMINE, OWN_AMINE)], "facts.unknown", "note", None),
    ("no pH in the spec", "linden", [('property = "pH"', 'property = "slip"')], "facts.unknown", "note", None),
    ("resting on memory", "linden", [], "facts.memory", "note", None),
]

# The limit itself, or just inside it: nothing is said.
INSIDE = [
    ("linden", [_water("82.96")], "formula.total"),                                         # 100.01 is within 0.01
    ("linden", [(BTAC, _line("behentrimonium-chloride-neat", "5.0"))], "cap.quat_sum"),     # 5.0 is not above 5.0
    ("linden", [_to(PHENOXY, "0.94")], "cap.phenoxyethanol.near"),
    ("calendula", [(HEC, _line("xanthan-gum", "0.05"))], "charge.anionic_polymer"),
    ("linden", [_also(HEC, "sodium-laureth-sulfate-27", "0.10")], "charge.anionic_surfactant"),   # 0.0717 meq, 0.0145
    ("linden", [_also(HEC, "sodium-cocoyl-glutamate-25", "0.70")], "charge.anionic_surfactant"),  # 0.4895 meq, 0.0989
    ("linden", [_to(CETEARYL, "2.60")], "network.ratio_low"),                               # 9.946 / 4.949 = 2.01
    ("linden", [_to(CETEARYL, "10.00")], "network.alcohol_high"),
    ("linden", [("high = 4.9", 'high = "5.04"')], "preservation.ph"),        # benzoate: 1 / (1 + 10^0.838) = 12.7 %
    ("linden", [_to(CETEARYL, "3.24")], "network.ratio_thin"),                              # 12.394 / 4.949 = 2.504
    ("linden", [_to(CETEARYL, "7.75")], "network.ratio_grain"),                             # 29.645 / 4.949 = 5.99
    ("linden", [_to(MCT, "7.25")], "network.oil_load"),                                     # 7.25 on 7.25
    ("linden", [_to(MCT, "4.00")], "range.kind"),
    ("meadowsweet", [('high = "4.8"', 'high = "5.5"')], "charge.amine_ph"),
    ("linden", [(ADD_C, ADD_C.replace("40", "45"))], "heat.limit"),                         # parfum: at most 45
    ("meadowsweet", [_to(LACTIC, "0.54")], "charge.amine_acid"),                            # 1.007
    ("meadowsweet", [_to(LACTIC, "0.60")], "charge.amine_near"),                            # 6.05 / 5.425 = 1.115
]
# fmt: on


@pytest.mark.parametrize(
    ("base", "replacements", "code", "severity", "value"), [row[1:] for row in SPOILED], ids=[row[0] for row in SPOILED]
)
def test_a_spoiled_formula_is_told_what_spoils_it(example, base, replacements, code, severity, value):
    found = example(base, *replacements).review()
    findings = [finding for finding in found.findings if finding.code == code]
    assert [finding.severity for finding in findings] == [severity]
    if value is not None:
        assert findings[0].value == Decimal(value)
    order = [("stop", "caution", "note").index(finding.severity) for finding in found.findings]
    assert order == sorted(order)
    assert found.ok == (not found.stops)
    if severity == "stop":
        assert found.findings[0].severity == "stop"
        assert not found.ok


@pytest.mark.parametrize(
    ("base", "replacements", "code"),
    [row[1:4] for row in SPOILED if row[2] and row[3] not in ("facts.unknown", "facts.memory")],
)
def test_the_same_is_not_said_of_the_formula_it_was_spoiled_from(example, base, replacements, code):
    assert code in example(base, *replacements).review().codes
    assert code not in example(base).review().codes


@pytest.mark.parametrize(("base", "replacements", "code"), INSIDE)
def test_nothing_is_said_at_the_limit_itself(example, base, replacements, code):
    assert code not in example(base, *replacements).review().codes


@pytest.mark.parametrize("name", ["linden", "calendula", "meadowsweet", "sage"])
def test_little_is_said_of_a_normal_formula(example, name):
    found = example(name).review()
    assert found.ok
    assert found.cautions == ()
    assert len(found.notes) <= 5  # what rests on memory and what is not known are two of them
    assert found.closing.startswith("No coded limit exceeded (EU list, read 20")
    assert "compliant" not in str(found).lower()
