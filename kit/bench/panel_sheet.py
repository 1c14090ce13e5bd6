"""The papers of a panel: a serving sheet for each assessor, and the key, which lies elsewhere.

The cautions are common practice, no source.
"""

from __future__ import annotations

from kit.bench.panel_plan import ON_PEOPLE, PLACE_WORDS, PanelPlan, Serving
from kit.science.serving_orders import DUO_TRIO, PAIRED, PREFERENCE, RANKING, RATING, TRIANGLE
from kit.show import Block, Listing, Table, listing

TASKS = {
    TRIANGLE: "Two of the three samples are the same. Write down the code of the one that is not. Guess if not sure.",
    DUO_TRIO: "One of the two coded samples is the same as the reference. Write down its code. Guess if not sure.",
    PAIRED: "Write down the code of the sample that has more of what is asked. Guess if not sure.",
    PREFERENCE: "Write down the code of the sample that you prefer. Guess if not sure.",
    RANKING: "Put the samples in order, the one with the most of what is asked first.",
    RATING: "Give every sample a mark.",
}
_EYES = (
    "Keep it out of the eyes. If it gets in, rinse at once with much water and get medical help: cationic surfactants "
    "can damage eyes for good."
)
_STOP = "Stop and say so if anything burns, itches or reddens. Nobody has to give a reason for leaving."
_PEOPLE = (
    "Rinse-off products: on hair or forearm only with informed consent given in writing before, only on skin that is "
    "whole, and rinsed off with much water.",
    _EYES,
    "Whoever is allergic to anything listed here, or to hair products, does not take part.",
    _STOP,
    "No second sample on the same half of a head, or on the same place of the arm, on one day.",
)
_OFF_PEOPLE = {
    "tress": (
        "The samples are on cut hair. Nothing is put on anybody; whoever handles wet tresses wears gloves.",
        _EYES,
        _STOP,
    ),
    "jar": ("Look and smell only. Nothing is put on skin or hair, nothing is tasted.", _EYES, _STOP),
}
LAW = (
    "Tests on people belong to qualified testers, with consent and by local law; this sheet does not stand in for "
    "them. A sample that is not preserved, or outside a limit, is never put on anybody."
)


def sheets(panel: PanelPlan) -> Block:
    """The serving sheets, one an assessor; nothing on them tells what is what.

    Parameters
    ----------
    panel : PanelPlan
    """
    return Block(tuple(part for serving in panel.servings for part in (_sheet(panel, serving), cautions(panel))))


def _sheet(panel: PanelPlan, serving: Serving) -> Table:
    reference = [("1", "reference", "")] if panel.kind == DUO_TRIO else []
    rows = [*reference, *((str(place), code, "") for place, code in enumerate(serving.codes, start=1 + len(reference)))]
    answer = {RANKING: "place, 1 = most", RATING: f"mark, {'–'.join(map(str, panel.scale))}"}
    head = answer.get(panel.kind, "answer")
    note = f"{panel.question} {TASKS[panel.kind]} In the order served. Remarks:"
    return Table(
        ("served", "code", head),
        rows,
        title=f"{panel.name}: assessor {serving.assessor}",
        note=note,
        key=f"sheet-{serving.assessor}",
    )


def cautions(panel: PanelPlan) -> Listing:
    """What every assessor is told before, the allergens known among it.

    Parameters
    ----------
    panel : PanelPlan
    """
    on_people = panel.place in ON_PEOPLE
    consent = [f"Consent: {panel.consent}."] if on_people else []
    told = panel.allergens or ("Allergens: none is known; that does not say that there is none.",)
    told = (*(_PEOPLE if on_people else _OFF_PEOPLE[panel.place]), *consent, *told, LAW)
    return listing(f"Before you begin ({PLACE_WORDS[panel.place]})", told)


def key(panel: PanelPlan) -> Block:
    """Which code is which batch.

    Parameters
    ----------
    panel : PanelPlan
    """
    samples = Table(("letter", "sample"), list(panel.samples.items()), title=f"{panel.name}: key. NOT for assessors")
    rows = [
        (
            serving.assessor,
            "".join(serving.order),
            serving.reference or "–",
            ", ".join(f"{code} {letter}" for code, letter in serving.letters.items()),
        )
        for serving in panel.servings
    ]
    note = f"Drawn from seed {panel.seed}. Keep it from the assessors and from whoever serves until all have answered."
    return Block((samples, Table(("assessor", "order", "open reference", "codes"), rows, title="Servings", note=note)))
