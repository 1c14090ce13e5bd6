"""Panel tests in a lab book: the plan with its codes and orders, kept before the first answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from kit.bench.panel import PanelKept
from kit.bench.panel_plan import planned_servings
from kit.bench.panel_reach import reach_words
from kit.labbook.book_record import plain_name
from kit.labbook.panel_answering import PanelAnswering
from kit.labbook.panel_entry import PANEL, panel_body, panel_stream
from kit.labbook.panel_safety import Cleared, cleared
from kit.labbook.panel_typed import (
    assessor_codes,
    expected_order,
    share_or_none,
    typed_risk,
    typed_samples,
    typed_scale,
    typed_seed,
)
from kit.labbook.receipt import Receipt


class PanelKeeping(PanelAnswering):
    """The calls that plan a panel, and all that come after its plan."""

    def add_panel(
        self,
        *,
        study: str,
        name: str,
        kind: str,
        samples: Mapping[str, str],
        assessors: int | Sequence[str],
        seed: int,
        question: str,
        on: str = "tress",
        alpha: object = "0.05",
        similar_below: str = "",
        expected: str | Sequence[str] = (),
        scale: Sequence[int] = (),
        consent: str = "",
        override: str = "",
        at: str = "",
    ) -> Receipt:
        """Plan a panel: blind codes and serving orders are drawn and kept before anybody answers.

        Parameters
        ----------
        study, name : str       The study, and a name of its own for the panel.
        kind : str              "triangle", "duo-trio", "paired", "preference", "ranking" or "rating".
        samples : mapping       Letter to batch, {"A": "TEA-02/1", "B": "TEA-09/1"}; the study's bought reference
                                product may be one of them.
        assessors : int or sequence of str   How many, P01, P02 ...; or codes of your own. No names of people.
        seed : int              The orders and codes are drawn from it.
        question : str          What is asked: "Which tress feels smoother when wet?"
        on : str                "tress", "jar", "hair" or "forearm".
        alpha : str             Risk of seeing a difference that is not there, stated now. [-]
        similar_below : str     "30 %": the share of assessors who may tell the products apart while the two still count
                                as alike; makes it a test of likeness.
        expected : letters      Paired: the sample expected to have more, so that only that side counts. Ranking: all
                                letters, the one expected to have the most first.
        scale : two int         Least and largest mark of a rating, (1, 9).
        consent : str           On people: who holds the forms.
        override : str          Why a batch that a rule stops is served all the same, on tresses or in the jar; on
                                people only where a passed challenge test is not in this record.
        at : str                When; now where omitted.

        Raises
        ------
        RecordError   `labbook.study`, `labbook.batch`, `labbook.panel_exists`, `panel.study`, `panel.not_finished`,
                      `panel.place`, `panel.consent`, `panel.stop`, `panel.people`, `panel.challenge`,
                      `panel.question`, `panel.expected`, `panel.scale`, `panel.assessor`, `panel.alpha`, `panel.limit`,
                      `panel.seed`.
        KitError      `panel.kind`, `panel.samples`, `panel.assessors`, `panel.codes`.
        UnitError     For a share that cannot be read.
        """
        where = f"add_panel(), {name}"
        source = self.source()
        view = source.study(study)
        lettered = typed_samples(samples, kind, question, where)
        codes = assessor_codes(assessors, where)
        panel = PanelKept(
            plain_name(name, "panel"),
            view.name,
            kind,
            question.strip(),
            lettered,
            planned_servings(kind, list(lettered), codes, typed_seed(seed, where)),
            seed,
            typed_risk(alpha, where),
            similar_below=share_or_none(similar_below, kind, where),
            expected=expected_order(expected, kind, list(lettered), where),
            place=on,
            consent=consent.strip(),
            override=override.strip(),
            scale=typed_scale(scale, kind, where),
            at=at,
        )
        found = self._cleared_before(name) or cleared(
            source, view, lettered, place=on, consent=consent, override=override, where=where
        )
        panel = replace(panel, allergens=found.allergens, overridden=found.overridden)
        receipt = self._define(
            panel_stream(name),
            PANEL,
            panel_body(panel),
            f"panel {name}, {kind}, {len(codes)} assessors",
            mend="give the changed panel a name of its own; orders and codes are fixed before the first answer",
            at=at,
        )
        reach = reach_words(panel, len(codes))
        notes = (
            panel.balance_words,
            *([reach] if reach else []),
            *(f"set aside: {rule}" for rule in found.overridden),
            *found.allergens,
        )
        return Receipt(receipt.stream, receipt.seq, receipt.kind, receipt.words, notes, receipt.new)

    def _cleared_before(self, name: str) -> Cleared | None:
        """What was cleared when the panel was planned: the same cell run again is not judged by later readings."""
        stream = panel_stream(name)
        if not self.store.has(stream):
            return None
        body = self.store.read(stream)[0].body
        return Cleared(tuple(body["allergens"]), tuple(body["overridden"]))
