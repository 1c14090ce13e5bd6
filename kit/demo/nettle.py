"""The nettle study: one formula, made at three speeds, three hold times and two rates of cooling. All invented.

Viscosity follows value = K x torque / speed, with K = 4000 on disc 5, at 10 rpm. The head is 25 mm wide: 4000, 6500 and
9000 rpm are tip speeds of 5.2, 8.5 and 11.8 m/s. The plan, kept before the first batch, spreads speed and hold over the
three days with a control on each. At the bench both short holds were made on the first day and both long ones on the
second, so that hold time and day are not separated; the place that became free went to a batch that nobody had planned.

One jar of the control was read at five speeds, up, down and after rest: torque = 18.3 x speed ^ 0.35, and 5 % less on
the way down.

In air the batches cool by Newton's law towards a room of 22 degC, from 75 to 40 degC in 33 to 35 min, and linger where
the network sets, at 55 degC: the heat of setting is worth 4 degC. The ice bath, at 1 degC, takes 4 min.

Of one batch alone, which came out light, a sample was centrifuged: only there is the density without air known.
"""

from __future__ import annotations

from kit.bench.methods import Method
from kit.demo.cooling_logs import Log, cooled
from kit.demo.plans import Adding, BatchPlan, Density, Opening, Process, StudyPlan, Sweep, Viscosity
from kit.demo.plans_later import TrialsPlanned

_CUP = {
    "unit": "g/mL",
    "temp": {"value": "25", "tolerance": "1", "unit": "degC"},
    "needs": ["instrument", "container"],
    "kind": "memory",
    "source": "common-practice",
}
DENSITY = Method.read(
    {
        "name": "density",
        "title": "Density as found, cup weighed full and empty",
        "property": "density",
        "note": "Filled with a spatula, without stirring, so that the air in the jar stays in it. Cup volume from its "
        "weight full of water.",
        **_CUP,
    }
)
AIR_FREE = Method.read(
    {
        "name": "air-free density",
        "title": "Density without air, of a centrifuged sample",
        "property": "air-free density",
        "note": "Centrifuged until no bubbles show, 10 min at about 1000 g; not used where the sample has parted.",
        **_CUP,
    }
)
DEAERATED = Method.read(
    {
        "name": "density, deaerated",
        "title": "Density of a deaerated jar, cup weighed full and empty",
        "property": "density",
        "note": "Bubbles drawn out under a slight vacuum at 25 degC, then rested for 30 min.",
        **_CUP,
    }
)

SETTINGS = ("combine rpm", "combine minutes")
"""What the plan varies."""

_DISPERSED = "gum wetted with the glycerin, sprinkled into cold water; chelator and lactic acid; no lumps"


def _in_air(first: int, minutes: int) -> Log:
    """Read every two minutes in a room of 22 degC; at 55 degC the behenyl network gives off heat worth 4 degC."""
    return cooled(first, minutes, every=2, latent_c=4.0)


def _seen(grain: str = "none", drops: str = "fine") -> tuple[tuple[str, ...], ...]:
    """Grain, colour and the drops under the microscope at 24 h."""
    return (("24 h", "grain", grain), ("24 h", "colour", "pale green"), ("24 h", "drops", drops))


def _disc5(at_24_h: str, at_72_h: str) -> tuple[Viscosity, ...]:
    """Readings at 24 h and 72 h on disc 5 at 10 rpm, from the torque shown."""
    return tuple(
        Viscosity(age, round(400 * float(torque)), torque) for age, torque in (("24 h", at_24_h), ("72 h", at_72_h))
    )


_TRIALS = (
    BatchPlan(
        "NET-01",
        "NET",
        "2026-07-06 10:10",
        "slow and short: how coarse does it stay?",
        ("4.58", "4.57", "4.58"),
        _disc5("29.0", "34.5"),
        steam_g="5.62",
        left_g="1.44",
        made_up_g="5.60",
        seen=_seen(drops="coarse"),
        dispersed=_DISPERSED,
        process=Process(4000, 3, _in_air(4, 34)),
        densities=(Density("24 h", "0.981"),),
        verdict=("drop", "coarse drops; only just inside the spec"),
    ),
    BatchPlan(
        "NET-02",
        "NET",
        "2026-07-06 12:20",
        "fast and short: does speed make up for time?",
        ("4.60", "4.59", "4.61"),
        (
            Viscosity("72 h", 19800, "49.5", sample="72 h", note="the jar is still full of small bubbles"),
            Viscosity("72 h", 15920, "39.8", after_min=100, sample="72 h, deaerated", note="read again without air"),
        ),
        steam_g="5.88",
        left_g="1.37",
        made_up_g="5.90",
        seen=_seen(),
        dispersed=_DISPERSED,
        combined="the vortex reached down to the head and drew air; thick and white as foam",
        process=Process(9000, 3, _in_air(4, 33)),
        densities=(
            Density("24 h", "0.871", note="light, full of small bubbles: its viscosity was not read at this age"),
            Density("24 h", "0.987", "air-free density", "air-free density", after_min=40, note="centrifuged sample"),
            Density("72 h", "0.871", after_min=-12, sample="72 h", note="nothing has risen in two days"),
            Density("72 h", "0.975", method="density, deaerated", after_min=90, sample="72 h, deaerated"),
        ),
        verdict=("repeat", "in the spec once deaerated; to be made again with the head deeper"),
    ),
    BatchPlan(
        "NET-03",
        "NET",
        "2026-07-07 08:00",
        "slow and long: does time make up for speed?",
        ("4.56", "4.55", "4.57"),
        _disc5("32.0", "37.8"),
        steam_g="6.24",
        left_g="1.52",
        made_up_g="6.20",
        seen=_seen(),
        dispersed=_DISPERSED,
        process=Process(4000, 12, _in_air(13, 35)),
        densities=(Density("24 h", "0.979"),),
        verdict=("keep", "inside the spec"),
    ),
    BatchPlan(
        "NET-04",
        "NET",
        "2026-07-07 12:20",
        "fast and long: can the network be sheared too far?",
        ("4.62", "4.61", "4.62"),
        _disc5("24.5", "29.0"),
        steam_g="6.41",
        left_g="1.28",
        made_up_g="6.40",
        seen=_seen(),
        dispersed=_DISPERSED,
        process=Process(9000, 12, _in_air(13, 34)),
        densities=(Density("24 h", "0.962", note="lighter than its neighbours; no sample centrifuged"),),
        verdict=("drop", "thinner than the spec: over-sheared"),
    ),
    BatchPlan(
        "NET-05",
        "NET",
        "2026-07-06 08:00",
        "control: the middle of speed and time",
        ("4.59", "4.58", "4.59"),
        _disc5("34.8", "41.0"),
        steam_g="5.75",
        left_g="1.41",
        made_up_g="5.80",
        seen=_seen(),
        dispersed=_DISPERSED,
        process=Process(6500, 7, _in_air(8, 34)),
        densities=(Density("24 h", "0.980"),),
        sweeps=(
            Sweep(
                "72 h",
                up=(("1", "18.3"), ("2.5", "25.2"), ("5", "32.1"), ("10", "41.0"), ("20", "52.2")),
                down=(("10", "39.0"), ("5", "30.3"), ("2.5", "23.7"), ("1", "17.2")),
                rest=((1, "17.5"), (5, "17.9"), (15, "18.2")),
                sample="72 h, sweep",
            ),
        ),
        verdict=("keep", "in the middle of the spec"),
    ),
    BatchPlan(
        "NET-06",
        "NET",
        "2026-07-07 10:10",
        "control made again on the second day",
        ("4.61", "4.60", "4.61"),
        _disc5("33.5", "39.5"),
        steam_g="5.93",
        left_g="1.35",
        made_up_g="5.90",
        seen=_seen(),
        dispersed=_DISPERSED,
        process=Process(6500, 7, _in_air(8, 33)),
        densities=(Density("24 h", "0.978"),),
        verdict=("keep", "comes back"),
    ),
    BatchPlan(
        "NET-07",
        "NET",
        "2026-07-13 08:00",
        "control made again on the third day",
        ("4.57", "4.57", "4.58"),
        _disc5("35.8", "42.2"),
        steam_g="5.68",
        left_g="1.46",
        made_up_g="5.70",
        seen=_seen(),
        dispersed=_DISPERSED,
        process=Process(6500, 7, _in_air(8, 34)),
        densities=(Density("24 h", "0.980"),),
        verdict=("keep", "comes back"),
    ),
    BatchPlan(
        "NET-08",
        "NET",
        "2026-07-13 10:10",
        "what does shock cooling do to the network?",
        ("4.63", "4.62", "4.64"),
        _disc5("16.5", "19.8"),
        steam_g="4.86",
        left_g="1.39",
        made_up_g="4.90",
        seen=_seen(grain="grainy"),
        dispersed=_DISPERSED,
        adding=Adding(
            "At 20 degC: sodium benzoate dissolved in the extract first",
            "sodium benzoate dissolved in the extract first; goes in unevenly, the batch is grainy",
            temp="20.0",
        ),
        process=Process(
            6500,
            7,
            (
                (8, "76.5"),
                (9, "75.0"),
                (10, "64.0"),
                (11, "54.5"),
                (12, "47.0"),
                (13, "40.0"),
                (14, "34.0"),
                (15, "29.5"),
                (16, "25.0"),
                (17, "21.5"),
            ),
            bath=(9, "1"),
            cool_c="20",
            cool_min=10,
            cooled="Anchor stirrer, in an ice bath; weigh the vessel at 20 degC and make up the water that is missing",
        ),
        densities=(Density("24 h", "0.977"),),
        verdict=("drop", "grainy and thin: the network had no time to order"),
    ),
)

_LOTS = {
    "water-deionised": "DI-26-27",
    "glycerin": "G-207",
    "hydroxyethylcellulose": "H-033",
    "disodium-edta": "E-51",
    "lactic-acid-88": "LA-31",
    "behentrimonium-chloride-80": "B-042",
    "cetearyl-alcohol": "C-118",
    "helianthus-annuus-seed-oil": "SF-26",
    "cetyl-esters": "CE-15",
    "urtica-dioica-leaf-extract": "UX-58",
    "phenoxyethanol": "PE-71",
    "ethylhexylglycerin": "EG-08",
    "sodium-benzoate": "SB-27",
    "parfum": "F-481",
}

NETTLE = StudyPlan(
    name="nettle",
    formula="formulas/nettle.toml",
    openings=(
        Opening(
            "NET",
            "2026-07-06 07:35",
            "At which speed, hold and cooling does one formula come out at 13,000 to 19,000 mPa.s?",
            "NET-05",
        ),
    ),
    batches=_TRIALS,
    lots=_LOTS,
    added="sodium benzoate dissolved in the extract first",
    compared=("NET-05", "NET-01", "NET-02", "NET-03", "NET-04", "NET-08"),
    imported="2026-07-20 16:30",
    decided="2026-07-20 17:00",
    methods=(DENSITY, AIR_FREE, DEAERATED),
    planned=TrialsPlanned(
        when="2026-07-06 07:40",
        layout="two-level factorial",
        factors=("combine rpm: 4000 to 9000 rpm", "combine minutes: 3 to 12 min"),
        days=("2026-07-06", "2026-07-07", "2026-07-13"),
        seed=9,
        note="the control, the middle of both, is made on each of the three days",
    ),
    calibrations="PH4-",
    heated={"A": "78", "B": "82"},
    poured={"A": "78.2", "B": "82.3", "after": "77.0"},
)
