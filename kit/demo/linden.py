"""The linden study: a fatty-alcohol level series with a repeated control. Every number is invented.

Viscosity follows value = K x torque / speed, with K = 2000 on disc 4, 4000 on disc 5, 10000 on disc 6, at 10 rpm.
"""

from __future__ import annotations

from kit.demo.plans import BatchPlan, Opening, StudyPlan, Viscosity


def _disc5(*torques: str) -> tuple[Viscosity, ...]:
    """Readings at 1 h, 24 h, 72 h and 7 d on disc 5 at 10 rpm, from the torque shown."""
    return tuple(
        Viscosity(age, round(400 * float(torque)), torque)
        for age, torque in zip(("1 h", "24 h", "72 h", "7 d"), torques, strict=True)
    )


_TRIALS = (
    BatchPlan(
        "LIN-01",
        "LIN",
        "2026-04-13 08:00",
        "how thin is it with 3 % alcohol?",
        ("4.60", "4.61", "4.61"),
        (
            Viscosity("1 h", 2600, "13.0", "disc 4"),
            Viscosity("24 h", 4200, "21.0", "disc 4"),
            Viscosity("72 h", 4900, "24.5", "disc 4"),
            Viscosity("7 d", 5000, "25.0", "disc 4"),
        ),
        steam_g="5.42",
        left_g="1.12",
        made_up_g="5.40",
        changes={"cetearyl-alcohol": "3.00 %"},
        verdict=("drop", "runny; alcohol to cationic below 3 mol/mol"),
    ),
    BatchPlan(
        "LIN-02",
        "LIN",
        "2026-04-13 10:10",
        "is 4 % alcohol enough?",
        ("4.58", "4.58", "4.59"),
        _disc5("13.0", "22.2", "27.0", "28.0"),
        steam_g="6.05",
        left_g="1.34",
        made_up_g="6.10",
        changes={"cetearyl-alcohol": "4.00 %"},
        verdict=("drop", "pours, below the spec"),
    ),
    BatchPlan(
        "LIN-03",
        "LIN",
        "2026-04-13 12:20",
        "control: the base as it stands",
        ("4.59", "4.60", "4.60"),
        _disc5("22.0", "39.0", "47.5", "49.0"),
        steam_g="5.86",
        left_g="2.14",
        made_up_g="5.90",
        weighed={"glycerin": "13.80"},
        accepted={
            "glycerin": "humectant only, nothing in the spec hangs on it; making all others bigger would waste actives"
        },
        sample_g="20.00",
        ph_before="4.72",
        adjuster_g="0.60",
        verdict=("keep", "inside the spec at every age"),
    ),
    BatchPlan(
        "LIN-04",
        "LIN",
        "2026-04-14 08:00",
        "thicker with 6 % alcohol, same slip?",
        ("4.60", "4.60", "4.61"),
        _disc5("34.0", "62.0", "74.0", "76.0"),
        steam_g="5.31",
        left_g="1.90",
        made_up_g="5.30",
        changes={"cetearyl-alcohol": "6.00 %"},
        verdict=("drop", "above the spec; worth a look as a mask"),
    ),
    BatchPlan(
        "LIN-05",
        "LIN",
        "2026-04-14 10:10",
        "where does the level series end?",
        ("4.61", "4.61", "4.62"),
        (
            Viscosity("1 h", 19520, "48.8"),
            Viscosity("24 h", 35200, "88.0"),
            Viscosity("72 h", 40600, "101.5", note="over range, read again"),
            Viscosity("72 h", 42000, "42.0", "disc 6", after_min=6, note="read again on the smaller disc"),
            Viscosity("7 d", 43000, "43.0", "disc 6"),
        ),
        steam_g="6.48",
        left_g="2.61",
        made_up_g="6.50",
        changes={"cetearyl-alcohol": "7.00 %"},
        verdict=("drop", "waxy, grainy at 7 d"),
    ),
    BatchPlan(
        "LIN-06",
        "LIN",
        "2026-04-14 12:20",
        "control made again: does the base come back?",
        ("4.57", "4.58", "4.58"),
        _disc5("20.8", "41.8", "50.2", "51.0"),
        steam_g="5.77",
        left_g="1.48",
        made_up_g="5.80",
        verdict=("keep", "confirms the control"),
    ),
    BatchPlan(
        "LIN-07",
        "LIN",
        "2026-04-20 08:00",
        "is the gum the thickener?",
        ("4.58", "4.58", "4.59"),
        _disc5("20.0", "41.0", "51.5", "53.8"),
        steam_g="5.60",
        left_g="1.25",
        made_up_g="5.60",
        changes={"hydroxyethylcellulose": "0 %"},
        dispersed="no gum: glycerin, EDTA and citric acid dissolved in cold water",
        verdict=("repeat", "the gum is not the thickener; no control was made on the same day"),
    ),
)

_EARLIER = "the base before its fragrance was raised, made again to see how batches scatter"

# Six batches of the version before: batch scatter near 7 % in viscosity and 0.05 in pH.
_HISTORY = tuple(
    BatchPlan(
        "LHC-01",
        "LHC",
        start,
        _EARLIER,
        ph,
        _disc5(*torques),
        steam,
        left,
        made_up,
        number=number,
        changes={"parfum": "0.30 %"},
        seen=(("7 d", "grain", "none"),),
        verdict=("keep", "batch history of the control"),
    )
    for number, start, ph, torques, steam, left, made_up in (
        (1, "2026-03-30 08:00", ("4.55", "4.56", "4.56"), ("20.4", "36.4", "44.0", "45.6"), "5.70", "1.52", "5.70"),
        (2, "2026-03-30 10:10", ("4.65", "4.66", "4.66"), ("23.2", "41.0", "50.6", "51.7"), "5.22", "1.30", "5.20"),
        (3, "2026-03-31 08:00", ("4.59", "4.60", "4.61"), ("21.9", "38.5", "46.8", "48.7"), "6.11", "1.77", "6.10"),
        (4, "2026-03-31 10:10", ("4.53", "4.53", "4.54"), ("23.9", "42.3", "51.1", "53.2"), "5.95", "1.41", "5.90"),
        (5, "2026-04-07 08:00", ("4.63", "4.64", "4.64"), ("19.8", "35.3", "43.5", "44.4"), "5.48", "1.66", "5.50"),
        (6, "2026-04-07 10:10", ("4.58", "4.59", "4.60"), ("22.6", "39.9", "48.1", "50.2"), "5.63", "1.29", "5.60"),
    )
)

_LOTS = {
    "water-deionised": "DI-26-15",
    "glycerin": "G-207",
    "hydroxyethylcellulose": "H-033",
    "disodium-edta": "E-51",
    "citric-acid": "CA-12",
    "cetearyl-alcohol": "C-118",
    "behentrimonium-chloride-80": "B-042",
    "caprylic-capric-triglyceride": "T-88",
    "cetyl-esters": "W-19",
    "panthenol-75": "P-64",
    "tilia-cordata-flower-extract": "L-305",
    "phenoxyethanol": "PE-71",
    "ethylhexylglycerin": "EG-08",
    "sodium-benzoate": "SB-27",
    "parfum": "F-440",
}

LINDEN = StudyPlan(
    name="linden",
    formula="linden.toml",
    openings=(
        Opening("LHC", "2026-03-30 07:35", "How much do batches of one version scatter?", "LHC-01"),
        Opening(
            "LIN",
            "2026-04-13 07:35",
            "How much cetearyl alcohol gives 15,000 to 25,000 mPa.s at 72 h without grain at 7 d?",
            "LIN-03",
            history=("LHC",),
        ),
    ),
    batches=(*_HISTORY, *_TRIALS),
    lots=_LOTS,
    added="premixed cold",
    compared=("LIN-03", "LIN-04"),
    imported="2026-04-27 16:30",
    decided="2026-04-27 17:00",
)
