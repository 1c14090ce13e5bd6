"""The hibiscus study: a series of pH, three ways to preserve, one of them added hot. Every number is invented.

Viscosity follows value = K x torque / speed, with K = 4000 on disc 5, at 10 rpm. On each day the batches were made in
an order that was drawn. No control was made on the second and the third day, which the comparison has to say by itself.
"""

from __future__ import annotations

from kit.demo.plans import Adding, BatchPlan, Opening, PhReading, StudyPlan, Viscosity

_CITRIC = "citric-acid"
_NO_SALTS = {"sodium-benzoate": "0 %", "potassium-sorbate": "0 %"}
_BENZYL = {**_NO_SALTS, "benzyl-alcohol": "0.80 %", "dehydroacetic-acid": "0.20 %", _CITRIC: "0.02 %"}
_DISPERSED = "gum wetted with the glycerin, sprinkled into cold water; chelator and citric acid; no lumps"
_DISSOLVED = "dehydroacetic acid dissolved in the benzyl alcohol first"


def _disc5(at_24_h: str, at_72_h: str) -> tuple[Viscosity, ...]:
    """Readings at 24 h and 72 h on disc 5 at 10 rpm, from the torque shown."""
    return tuple(
        Viscosity(age, round(400 * float(torque)), torque) for age, torque in (("24 h", at_24_h), ("72 h", at_72_h))
    )


def _seen(odour: str = "full") -> tuple[tuple[str, ...], ...]:
    """Odour at 24 h; the colour at 7 d comes from the file."""
    return (("24 h", "odour", odour),)


_TRIALS = (
    BatchPlan(
        "HIB-01",
        "HIB",
        "2026-06-08 10:10",
        "control: the base as it stands",
        ("4.60", "", "4.61"),
        _disc5("34.0", "38.0"),
        steam_g="5.71",
        left_g="1.62",
        made_up_g="5.70",
        seen=_seen(),
        dispersed=_DISPERSED,
        verdict=("keep", "inside the spec, pink"),
    ),
    BatchPlan(
        "HIB-02",
        "HIB",
        "2026-06-08 08:00",
        "how high does the pH go with 0.15 % of citric acid?",
        ("", "", "4.90"),
        _disc5("34.7", "38.8"),
        steam_g="5.94",
        left_g="1.37",
        made_up_g="5.90",
        changes={_CITRIC: "0.15 %"},
        seen=_seen(),
        dispersed=_DISPERSED,
        ph_again=(
            PhReading("1 h", "4.62", after_min=-8, temp="46.0", note="the beaker had stood on the warm plate"),
            PhReading("1 h", "4.89", after_min=12, note="read again at 25 degC"),
        ),
        verdict=("drop", "4.89 once it was read at 25 degC: above the spec"),
    ),
    BatchPlan(
        "HIB-03",
        "HIB",
        "2026-06-08 12:20",
        "what do colour and preservation lose above pH 5?",
        ("5.26", "", "5.27"),
        _disc5("35.0", "39.0"),
        steam_g="5.48",
        left_g="1.55",
        made_up_g="5.50",
        changes={_CITRIC: "0.08 %"},
        seen=_seen(),
        dispersed=_DISPERSED,
        verdict=("drop", "mauve; little of the benzoic and the sorbic acid is left un-ionised at this pH"),
    ),
    BatchPlan(
        "HIB-04",
        "HIB",
        "2026-06-09 12:20",
        "the end of the series: what happens in an opened jar?",
        ("5.55", "", "5.56"),
        _disc5("35.3", "39.3"),
        steam_g="5.63",
        left_g="1.48",
        made_up_g="5.60",
        changes={_CITRIC: "0.05 %"},
        seen=(
            *_seen(),
            ("21 d", "growth", "visible growth", "the jar opened for the readings at 7 d, kept at 25 degC"),
        ),
        dispersed=_DISPERSED,
        verdict=("drop", "visible growth in an opened jar at 21 d"),
    ),
    BatchPlan(
        "HIB-05",
        "HIB",
        "2026-06-09 08:00",
        "does phenoxyethanol with ethylhexylglycerin leave the gel as it is?",
        ("4.58", "", "4.58"),
        _disc5("28.0", "31.0"),
        steam_g="5.85",
        left_g="1.40",
        made_up_g="5.90",
        changes={**_NO_SALTS, "phenoxyethanol": "0.90 %", "ethylhexylglycerin": "0.10 %", _CITRIC: "0.05 %"},
        seen=_seen(),
        dispersed=_DISPERSED,
        adding=Adding(
            "Ethylhexylglycerin mixed into the phenoxyethanol, then the extract; look at the colour before and after",
            "ethylhexylglycerin mixed into the phenoxyethanol",
        ),
        verdict=("repeat", "thinner than HIB-01, but of another day: to be made again beside a control"),
    ),
    BatchPlan(
        "HIB-06",
        "HIB",
        "2026-06-09 10:10",
        "can benzyl alcohol go in hot, straight after the pour?",
        ("4.66", "", "4.66"),
        _disc5("32.0", "36.0"),
        steam_g="5.52",
        left_g="1.58",
        made_up_g="5.50",
        changes=_BENZYL,
        seen=_seen("weak"),
        dispersed=_DISPERSED,
        adding=Adding(
            "Straight after the pour: dehydroacetic acid dissolved in the benzyl alcohol, then the extract",
            f"{_DISSOLVED}; smells of it over the vessel",
            temp="70.0",
            lost_g="1.60",
            lost_note="0.4 % of the batch gone since the addition; the smell says not all of it is water: not made up",
        ),
        verdict=("drop", "weak odour, 0.4 % of the mass lost after the hot addition"),
    ),
    BatchPlan(
        "HIB-07",
        "HIB",
        "2026-06-15 08:00",
        "HIB-06 with its cool-down phase added at 38 degC",
        ("4.63", "", "4.64"),
        _disc5("32.2", "35.8"),
        steam_g="5.76",
        left_g="1.43",
        made_up_g="5.80",
        changes=_BENZYL,
        seen=_seen(),
        dispersed=_DISPERSED,
        adding=Adding(
            "Dehydroacetic acid dissolved in the benzyl alcohol first, then the extract; look at the colour",
            f"{_DISSOLVED}, then the extract",
        ),
        verdict=("keep", "goes on, pending a challenge test in a laboratory"),
    ),
)

_LOTS = {
    "water-deionised": "DI-26-23",
    "glycerin": "G-207",
    "hydroxyethylcellulose": "H-033",
    "tetrasodium-glutamate-diacetate-38": "GL-17",
    _CITRIC: "CA-12",
    "behentrimonium-chloride-80": "B-042",
    "cetearyl-alcohol": "C-118",
    "isopropyl-myristate": "IM-54",
    "hibiscus-sabdariffa-flower-extract": "HX-207",
    "sodium-benzoate": "SB-27",
    "potassium-sorbate": "KS-29",
    "phenoxyethanol": "PE-71",
    "ethylhexylglycerin": "EG-08",
    "benzyl-alcohol": "BZ-36",
    "dehydroacetic-acid": "DH-09",
    "parfum": "F-470",
}

HIBISCUS = StudyPlan(
    name="hibiscus",
    formula="formulas/hibiscus.toml",
    openings=(
        Opening(
            "HIB",
            "2026-06-08 07:35",
            "At which pH, and preserved by what, does the rinse stay pink at 11,000 to 18,000 mPa.s?",
            "HIB-01",
        ),
    ),
    batches=_TRIALS,
    lots=_LOTS,
    added="benzoate and sorbate dissolved in the extract first",
    compared=("HIB-01", "HIB-02", "HIB-03", "HIB-04", "HIB-05", "HIB-06", "HIB-07"),
    imported="2026-06-22 16:30",
    decided="2026-06-30 17:00",
    calibrations="PH3-",
    heated={"A": "78", "B": "82"},
    poured={"A": "78.3", "B": "82.2", "after": "77.0"},
)
