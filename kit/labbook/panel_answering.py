"""The answers of a panel in a lab book: taken once an assessor, put right or voided with a reason, or never to come."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from kit.bench.panel import PanelAnswer, PanelKept
from kit.bench.panel_answers import typed_answer
from kit.errors import RecordError
from kit.labbook.book_record import BookRecord
from kit.labbook.ledger import CORRECTION, VOID
from kit.labbook.panel_entry import ABSENT, ANSWER, PANEL, panel_stream
from kit.labbook.receipt import Receipt
from kit.labbook.streams import Draft
from kit.labbook.times import read_time, stamp
from kit.science.number_text import plural


class PanelAnswering(BookRecord):
    """The calls that record what came of a planned panel."""

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
        words = f"{plural(len(answers), 'answer')} of panel {name}"
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
