"""The entries of a panel: its plan first, then an answer an assessor, corrections and voids."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from kit.bench.panel import PanelAnswer, PanelKept
from kit.bench.panel_plan import Serving
from kit.labbook.ledger import Effective, effective
from kit.labbook.streams import Entry

PANEL, ANSWER, ABSENT = "panel", "panel-answer", "panel-absent"
"""Kind of the plan and of its stream; kinds of an answer, and of assessors who will not answer."""


def panel_stream(name: str) -> str:
    """The stream that holds a panel.

    Parameters
    ----------
    name : str   Of the panel.
    """
    return f"{PANEL}/{name}"


def panel_body(panel: PanelKept) -> dict:
    """What is kept of a plan.

    Parameters
    ----------
    panel : PanelKept
    """
    return {
        **{name: getattr(panel, name) for name in ("name", "study", "kind", "question", "seed", "place")},
        **{name: getattr(panel, name) for name in ("consent", "override", "at")},
        **{name: list(getattr(panel, name)) for name in ("expected", "overridden", "allergens", "scale")},
        "samples": dict(panel.samples),
        "alpha": str(panel.alpha),
        "similar_below": "" if panel.similar_below is None else str(panel.similar_below),
        "servings": [
            {"assessor": serving.assessor, "order": list(serving.order), "codes": list(serving.codes)}
            for serving in panel.servings
        ],
    }


def panel_kept(entries: Sequence[Entry]) -> PanelKept:
    """The panel that the entries of a stream tell, as it stands now.

    Parameters
    ----------
    entries : sequence of Entry   The first holds the plan.
    """
    first, *others = effective(entries)
    body = first.body
    return PanelKept(
        **{name: body[name] for name in ("name", "study", "kind", "question", "seed", "place", "consent", "override")},
        **{name: tuple(body[name]) for name in ("expected", "overridden", "allergens", "scale")},
        samples=dict(body["samples"]),
        alpha=Decimal(body["alpha"]),
        similar_below=Decimal(body["similar_below"]) if body["similar_below"] else None,
        servings=tuple(Serving(row["assessor"], tuple(row["order"]), tuple(row["codes"])) for row in body["servings"]),
        at=first.measured_at,
        answers=tuple(_answer(item) for item in others if item.kind == ANSWER),
        absent={name: item.body["why"] for item in others if item.kind == ABSENT for name in item.body["assessors"]},
        void=first.void,
    )


def _answer(item: Effective) -> PanelAnswer:
    body = item.body
    told = (body["assessor"], body["answer"], item.measured_at, body["note"])
    return PanelAnswer(item.seq, *told, corrected=item.why_corrected, void=item.void)
