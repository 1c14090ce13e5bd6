"""Plans of trials, in a lab book."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.errors import RecordError
from kit.formula.diffs import refuse_edited
from kit.formula.formula import Formula
from kit.formula.model import formula_row
from kit.labbook.book_record import BookRecord, plain_name
from kit.labbook.plan_entry import PLAN, check_complete, plan_stream
from kit.labbook.receipt import Receipt
from kit.labbook.times import read_time, stamp
from kit.labbook.view import formula_stream

if TYPE_CHECKING:
    from kit.labbook.source import Source


class PlanKeeping(BookRecord):
    """The call that keeps a plan of trials."""

    def add_plan(self, plan: object, *, study: str = "", name: str = "", note: str = "", at: str = "") -> Receipt:
        """Keep a plan of trials, its formulas with it; the same plan again is not doubled.

        Parameters
        ----------
        plan : Plan     From `kit.plan_variations`.
        study : str     The study it belongs to; the only one when omitted.
        name : str      A name of its own; the study's with "-plan" when omitted.
        note : str      What else to know.
        at : str        When it was planned; now when omitted. Batches started before are none of its own.

        Raises
        ------
        RecordError    `labbook.study`, `labbook.name`, `labbook.plan_stop` for a plan with a version that must not be
                       made, `labbook.plan_exists` where the name holds another plan, `labbook.plan` for no plan,
                       `labbook.plan_time` for a time to come, `labbook.time`.
        FormulaError   `formula.version_edited` when a version label is known here with another content.
        """
        source = self.source()
        row, formulas = _content(plan)
        owner = source.study(study).name
        name = plain_name(name or f"{owner}-plan", "plan")
        body = {"name": name, "study": owner, "plan": row, "note": note, "at": at}
        stream, words = plan_stream(name), f"plan {name}: {row['title']}"
        if not self.store.has(stream):
            self._refuse_other_versions(formulas, source)
            drafts = []
            for formula in formulas:
                if not source.entries(formula_stream(formula.fingerprint)):
                    stored = formula_row(formula)
                    drafts += self._opening(formula_stream(formula.fingerprint), "formula", stored)
            measured = self._moment(at, words)
            drafts += self._opening(stream, PLAN, body, measured_at=measured)
            kept = self.store.append_many(drafts)
            seq = next(entry.seq for entry in kept if entry.stream == stream)
            return Receipt(stream, seq, PLAN, words, ("planned against made: kit.plan_made(book, name)",))
        mend = "keep the changed plan under a name of its own: the first one stays"
        return self._define(stream, PLAN, body, words, mend=mend, at=at)

    def _moment(self, at: str, where: str) -> str | None:
        """When it was planned, where that was told: not in time to come, as no batch would belong to it until then."""
        if not at:
            return None
        moment = read_time(at, self.store.clock, where=where)
        if moment > self.store.clock():
            raise RecordError(
                f"{stamp(moment)} is still to come",
                where=where,
                allowed="now, or a time that is past",
                mend="leave it out; the days of making are given with plan_variations(days=...)",
                code="labbook.plan_time",
            )
        return stamp(moment)

    def _refuse_other_versions(self, formulas: tuple[Formula, ...], source: Source) -> None:
        for formula in formulas:
            for row in self.store.rows("formula_version", name=formula.name, version=formula.version):
                refuse_edited(source.formula(row["fingerprint"]), formula, known_from="this lab book")


def _content(plan: object) -> tuple[dict, tuple[Formula, ...]]:
    """What is kept of a plan; a plan with a stop is refused."""
    if not hasattr(plan, "row") or not hasattr(plan, "formulas"):
        raise RecordError(
            f"{type(plan).__name__} is no plan",
            where="add_plan()",
            allowed="what kit.plan_variations() gives",
            mend="give the plan itself",
            code="labbook.plan",
        )
    stopped = [version.label for version in plan.stopped]
    if stopped:
        raise RecordError(
            f"versions of the plan must not be made as they stand: {', '.join(stopped)}",
            where="add_plan()",
            allowed="a plan without a stop",
            mend="plan it with repair=True, or with narrower levels",
            code="labbook.plan_stop",
        )
    row, formulas = plan.row(), tuple(plan.formulas())
    check_complete(row, formulas)
    return row, formulas
