"""Panel tests in a lab book: the plan with its codes and orders before the first answer, then the answers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from kit.bench.panel import PanelAnswer, PanelKept
from kit.bench.panel_answers import typed_answer
from kit.bench.panel_plan import planned_servings
from kit.bench.panel_reach import reach_words
from kit.errors import RecordError
from kit.labbook.book_record import BookRecord, plain_name
from kit.labbook.ledger import CORRECTION, VOID
from kit.labbook.panel_entry import ABSENT, ANSWER, PANEL, panel_body, panel_stream
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
from kit.labbook.streams import Draft
from kit.labbook.times import read_time, stamp


class PanelKeeping(BookRecord):
    """The calls that plan a panel and record its answers."""

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

    def panel_answers(
        self, name: str, answers: Mapping[str, object], *, at: str = "", notes: Mapping[str, str] | None = None
    ) -> Receipt:
        """Record what assessors answered; the same answer again is not doubled, another one is refused.

        Parameters
        ----------
        name : str          The panel.
        answers : mapping   Assessor to answer: the code chosen, "512"; for a ranking codes from most to least,
                            ["512", "194", "873"] or "512 > 194 = 873"; for ratings {"512": 4, "194": 3}, None for a
                            sample that was not judged.
        at : str            When; now where omitted.
        notes : mapping     Assessor to a remark.

        Raises
        ------
        RecordError   `panel.unknown`, `panel.void`, `panel.assessor`, `panel.answer`, `panel.answered`,
                      `panel.before_plan`.
        """
        if not isinstance(answers, Mapping):
            raise RecordError(
                f"{answers!r} says no answer to an assessor",
                where=f"panel {name}",
                allowed='{"P01": "512", "P02": "194"}',
                mend="give each answer with the code of the assessor",
                code="panel.answer",
            )
        panel, held = self._panel(name), None
        standing, moment = panel.counted, self._moment_after(panel, at)
        stream, drafts = panel_stream(name), []
        remarks = dict(notes or {})
        for assessor, typed in answers.items():
            body = {
                "assessor": str(assessor),
                "answer": typed_answer(panel, assessor, typed),
                "note": remarks.pop(assessor, ""),
                "at": at,
            }
            old = standing.get(str(assessor))
            if old is None:
                drafts.append(Draft(stream, ANSWER, body, stream_kind=PANEL, measured_at=moment))
            elif old.answer != body["answer"]:
                raise _answered(panel, old)
            else:
                held = old
        if remarks:
            typed_answer(panel, next(iter(remarks)), "")  # says that there is no such assessor, or no answer
        words = f"{len(answers)} answers of panel {name}"
        if not drafts:
            return Receipt(stream, held.entry if held else 1, ANSWER, words, new=False)
        entries = self.store.append_many(drafts)
        left = self._panel(name).awaited
        waiting = f"still to answer: {', '.join(left)}" if left else "nobody is awaited any more"
        return Receipt(stream, entries[-1].seq, ANSWER, words, (waiting,))

    def correct_panel_answer(self, name: str, assessor: str, answer: object, *, why: str) -> Receipt:
        """Put an answer right that was copied wrong from the sheet; the old one stays in the record.

        Parameters
        ----------
        name, assessor : str
        answer : object        As in `panel_answers`.
        why : str              The reason.

        Raises
        ------
        RecordError   `panel.unknown`, `panel.void`, `panel.no_answer`, `panel.reason`, `panel.answer`.
        """
        panel, old = self._answer_of(name, assessor, why)
        kept, words = typed_answer(panel, assessor, answer), f"answer of {assessor} in panel {name} put right"
        if kept == old.answer:
            return Receipt(panel_stream(name), old.entry, CORRECTION, words, new=False)
        first = self.store.read(panel_stream(name))[old.entry - 1].body
        body = {"corrects": old.entry, "body": {**first, "answer": kept}, "why": why.strip()}
        return self._append(name, CORRECTION, body, words)

    def void_panel_answer(self, name: str, assessor: str, *, why: str) -> Receipt:
        """Void an answer, of an assessor who was served wrongly or takes the consent back; it may be given anew.

        Parameters
        ----------
        name, assessor : str
        why : str              The reason.

        Raises
        ------
        RecordError   `panel.unknown`, `panel.void`, `panel.no_answer`, `panel.reason`.
        """
        _, old = self._answer_of(name, assessor, why)
        body = {"voids": old.entry, "why": why.strip()}
        return self._append(name, VOID, body, f"answer of {assessor} in panel {name} voided")

    def panel_absent(self, name: str, assessors: Sequence[str], *, why: str) -> Receipt:
        """Record that assessors will not answer: only then is there a verdict without them, and it says so.

        Parameters
        ----------
        name : str
        assessors : sequence of str   Codes of those who were served and left, or never came.
        why : str                     The reason.

        Raises
        ------
        RecordError   `panel.unknown`, `panel.void`, `panel.reason`; `panel.assessor` for one who is not awaited.
        """
        panel = self._panel(name)
        several = isinstance(assessors, Iterable) and not isinstance(assessors, str)
        codes = [str(code) for code in (assessors if several else [assessors])]
        _need_reason(why, name)
        words = f"{', '.join(codes)} will not answer in panel {name}"
        if codes and all(code in panel.absent for code in codes):
            return Receipt(panel_stream(name), 1, ABSENT, words, new=False)
        strange = [code for code in codes if code not in panel.awaited]
        if strange or not codes:
            raise RecordError(
                f"{', '.join(strange)} is not awaited" if strange else "nobody is named",
                where=f"panel {name}",
                allowed=", ".join(panel.awaited) or "all assessors have answered",
                mend="name assessors who have not answered",
                code="panel.assessor",
            )
        return self._append(name, ABSENT, {"assessors": codes, "why": why.strip()}, words)

    def void_panel(self, name: str, *, why: str) -> Receipt:
        """Void a whole panel, whose plan was wrong or whose key was seen; it stays in the record and has no result.

        Parameters
        ----------
        name : str
        why : str    The reason.

        Raises
        ------
        RecordError   `panel.unknown`, `panel.void`, `panel.reason`.
        """
        self._panel(name)
        _need_reason(why, name)
        return self._append(name, VOID, {"voids": 1, "why": why.strip()}, f"panel {name} voided")

    def _append(self, name: str, kind: str, body: dict, words: str) -> Receipt:
        stream = panel_stream(name)
        entry = self.store.append_many([Draft(stream, kind, body, stream_kind=PANEL)])[0]
        return Receipt(stream, entry.seq, kind, words)

    def _panel(self, name: str) -> PanelKept:
        """A panel that stands."""
        panel = self.source().panel(name)
        if panel.void:
            raise RecordError(
                f"panel {name} is void: {panel.void}",
                where=f"panel {name}",
                mend="plan another one under a name of its own",
                code="panel.void",
            )
        return panel

    def _answer_of(self, name: str, assessor: str, why: str) -> tuple[PanelKept, PanelAnswer]:
        panel = self._panel(name)
        _need_reason(why, name)
        found = panel.counted.get(str(assessor))
        if found is None:
            raise RecordError(
                f"{assessor} has no answer that stands",
                where=f"panel {name}",
                allowed=", ".join(panel.counted) or "nobody has answered yet",
                mend="name one of these",
                code="panel.no_answer",
            )
        return panel, found

    def _cleared_before(self, name: str) -> Cleared | None:
        """What was cleared when the panel was planned: the same cell run again is not judged by later readings."""
        stream = panel_stream(name)
        if not self.store.has(stream):
            return None
        body = self.store.read(stream)[0].body
        return Cleared(tuple(body["allergens"]), tuple(body["overridden"]))

    def _moment_after(self, panel: PanelKept, at: str) -> str | None:
        if not at:
            return None
        moment = read_time(at, self.store.clock, where=f"panel {panel.name}")
        if moment < datetime.fromisoformat(panel.at):
            raise RecordError(
                f"the answers ({stamp(moment)}) come before the plan ({panel.at})",
                where=f"panel {panel.name}",
                mend="codes and orders are kept before the first answer; correct the time",
                code="panel.before_plan",
            )
        return stamp(moment)


def _need_reason(why: str, name: str) -> None:
    if not why.strip():
        raise RecordError("the reason is missing", where=f"panel {name}", mend='give why="..."', code="panel.reason")


def _answered(panel: PanelKept, old: PanelAnswer) -> RecordError:
    return RecordError(
        f"{old.assessor} has answered {old.answer} already",
        where=f"panel {panel.name}",
        mend='correct_panel_answer(..., why="...") for a slip of the pen; a second answer of one assessor is no '
        "further assessor",
        code="panel.answered",
    )
