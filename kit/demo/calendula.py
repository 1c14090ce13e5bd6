"""The calendula study: one thickener swapped for another, and a charge that clashes. Every number is invented.

Viscosity follows value = K x torque / speed, with K = 2000 on disc 4 and 4000 on disc 5, at 10 rpm. On each day the
batches were made in an order that was drawn, not in the order of their names.
"""

from __future__ import annotations

from kit.bench.methods import Method
from kit.demo.plans import BatchPlan, Opening, StudyPlan, Viscosity

_HEC, _GUAR = "hydroxyethylcellulose", "guar-hydroxypropyltrimonium-chloride"
_NO_GUM = {_HEC: "0 %", _GUAR: "0 %"}
_SMOOTH = (("24 h", "strings", "none"), ("24 h", "weeping", "none"))
_GUMS = "both gums wetted with the propanediol, sprinkled into cold water, then the acid; no lumps against the glass"
_ONE_GUM = "gum wetted with the propanediol, sprinkled into cold water, then the acid; no lumps against the glass"

# The share of the force that is left after the treatment: what was not treated alike is not compared.
WET_COMBING = Method.read(
    {
        "name": "wet combing",
        "title": "Wet-combing force of a treated tress, % of the force of the same tress untreated",
        "property": "wet-combing force",
        "unit": "%",
        "needs": ["instrument", "sample"],
        "kind": "memory",
        "source": "common-practice",
        "note": "Bleached hair, wet; each tress its own control, combed 20 times before and 20 times after the "
        "treatment (15 to 25 strokes are usual; even so the SD may reach 20 %). A reading is one tress, a batch "
        "is three of them. Dose, time and rinse weigh more than small changes of the formula.",
    }
)


def _disc5(at_24_h: str, at_72_h: str) -> tuple[Viscosity, ...]:
    """Readings at 24 h and 72 h on disc 5 at 10 rpm, from the torque shown."""
    return tuple(
        Viscosity(age, round(400 * float(torque)), torque) for age, torque in (("24 h", at_24_h), ("72 h", at_72_h))
    )


_TRIALS = (
    BatchPlan(
        "CAL-01",
        "CAL",
        "2026-05-04 10:10",
        "what does the network do without any gum?",
        ("4.52", "", "4.53"),
        _disc5("39.5", "47.2"),
        steam_g="5.64",
        left_g="1.42",
        made_up_g="5.60",
        changes=_NO_GUM,
        seen=_SMOOTH,
        dispersed="no gum: propanediol, EDTA and citric acid dissolved in cold water",
        verdict=("drop", "thick enough, poor slip"),
    ),
    BatchPlan(
        "CAL-02",
        "CAL",
        "2026-05-04 14:30",
        "does a nonionic gum alone bring slip?",
        ("4.51", "", "4.52"),
        _disc5("37.2", "43.0"),
        steam_g="5.93",
        left_g="1.28",
        made_up_g="5.90",
        changes={_HEC: "0.30 %", _GUAR: "0 %"},
        seen=_SMOOTH,
        dispersed=_ONE_GUM,
        verdict=("drop", "no slip; the gum lowers the viscosity a little"),
    ),
    BatchPlan(
        "CAL-03",
        "CAL",
        "2026-05-04 08:00",
        "does the cationic gum alone bring slip?",
        ("4.53", "", "4.54"),
        _disc5("34.3", "39.0"),
        steam_g="6.12",
        left_g="1.61",
        made_up_g="6.10",
        changes={_HEC: "0 %"},
        seen=_SMOOTH,
        dispersed=_ONE_GUM,
        verdict=("repeat", "slip arrives, close to the limit"),
    ),
    BatchPlan(
        "CAL-04",
        "CAL",
        "2026-05-04 12:20",
        "control: the base as it stands, a nonionic and a cationic gum",
        ("4.52", "", "4.53"),
        _disc5("33.0", "37.5"),
        steam_g="5.71",
        left_g="1.35",
        made_up_g="5.70",
        seen=_SMOOTH,
        dispersed=_GUMS,
        verdict=("keep", "slip and viscosity inside the spec"),
    ),
    BatchPlan(
        "CAL-05",
        "CAL",
        "2026-05-05 10:10",
        "what does xanthan do, which the review stops? A beaker to see it, not to use",
        ("4.55", "", ""),
        (Viscosity("24 h", 3800, "19.0", "disc 4", note="strings; below the range of disc 5"),),
        steam_g="5.48",
        left_g="1.52",
        made_up_g="5.50",
        changes={**_NO_GUM, "xanthan-gum": "0.30 %"},
        seen=(("24 h", "strings", "strings"), ("24 h", "weeping", "weeps")),
        dispersed="xanthan wetted with the propanediol, sprinkled into cold water; no lumps against the glass",
        combined="head below the surface before it ran; strings as soon as the phases met",
        verdict=("drop", "strings on contact, weeps at 24 h: thrown away, nothing read after that"),
    ),
    BatchPlan(
        "CAL-06",
        "CAL",
        "2026-05-05 12:20",
        "is another nonionic gum better?",
        ("4.52", "", "4.53"),
        _disc5("35.5", "40.8"),
        steam_g="5.85",
        left_g="1.47",
        made_up_g="5.90",
        changes={**_NO_GUM, "hydroxypropyl-methylcellulose": "0.30 %"},
        seen=_SMOOTH,
        dispersed=_ONE_GUM,
        verdict=("drop", "smooth, no slip"),
    ),
    BatchPlan(
        "CAL-07",
        "CAL",
        "2026-05-05 08:00",
        "control made again: does the base come back?",
        ("4.50", "", "4.52"),
        (
            Viscosity("24 h", 9920, "24.8", temp="31.6", note="the jar had stood by the water bath"),
            Viscosity("24 h", 13520, "33.8", after_min=75, note="read again, a second jar kept at 25 degC"),
            Viscosity("72 h", 15200, "38.0"),
        ),
        steam_g="5.59",
        left_g="1.30",
        made_up_g="5.60",
        seen=_SMOOTH,
        dispersed=_GUMS,
        verdict=("keep", "confirms the control"),
    ),
)

_LOTS = {
    "water-deionised": "DI-26-18",
    "propanediol": "PD-14",
    _HEC: "H-033",
    _GUAR: "GQ-07",
    "xanthan-gum": "X-21",
    "hydroxypropyl-methylcellulose": "HP-05",
    "disodium-edta": "E-51",
    "citric-acid": "CA-12",
    "behentrimonium-methosulfate-25": "BM-118",
    "cetyl-alcohol": "C16-33",
    "simmondsia-chinensis-seed-oil": "JO-62",
    "butyrospermum-parkii-butter": "SH-90",
    "calendula-officinalis-flower-extract": "CX-41",
    "hydrolyzed-rice-protein-20": "RP-16",
    "phenoxyethanol": "PE-71",
    "caprylyl-glycol": "CG-03",
    "potassium-sorbate": "KS-29",
    "parfum": "F-452",
}

CALENDULA = StudyPlan(
    name="calendula",
    formula="formulas/calendula.toml",
    openings=(
        Opening(
            "CAL",
            "2026-05-04 07:35",
            "Which thickener brings slip, a wet-combing force of at most 35 %, at 12,000 to 20,000 mPa.s?",
            "CAL-04",
        ),
    ),
    batches=_TRIALS,
    lots=_LOTS,
    added="caprylyl glycol melted into the phenoxyethanol, sorbate dissolved in the protein",
    compared=("CAL-04", "CAL-01", "CAL-02", "CAL-03", "CAL-05", "CAL-06"),
    imported="2026-05-12 16:30",
    decided="2026-05-12 17:00",
    instruments={"COMB-1": "load cell with comb"},
    methods=(WET_COMBING,),
    calibrations="PH1-",
)
