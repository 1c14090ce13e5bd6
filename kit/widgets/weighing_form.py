"""The weighing form: a row for each line of the sheet, built from the lab book, one commit a cell."""

from __future__ import annotations

from decimal import Decimal

from kit.bench.exact import upper_first
from kit.bench.sheet import SheetLine
from kit.bench.weighing import judge
from kit.errors import KitError
from kit.labbook.ledger import Effective
from kit.sources import read_data
from kit.units import plain, read
from kit.widgets.entry_form import AGAIN, EntryForm, history, total_of, with_unit
from kit.widgets.parts import (
    ASKS,
    CANCEL,
    HEAD,
    NOTED,
    RECORDED,
    TEXT,
    UNCHANGED,
    Action,
    Ask,
    Cell,
    Choice,
    Column,
    FormView,
    Outcome,
    Part,
    Remark,
    Row,
)

COLUMNS = (
    Column("material", "material"),
    Column("target", "target, g", numeric=True),
    Column("balance", "balance"),
    Column("lot", "lot"),
    Column("weighed", "weighed, g", numeric=True),
    Column("state", "state"),
)
_SHOWN = {"mass_g": "g", "lot": "", "balance": ""}
_TONES = {"within": "pass", "over": "fail", "under": "flag", "not judged": "quiet"}
_REASONS = (*AGAIN, "surplus taken out of the boat before mixing")
_KINDS = {"water": "water phase", "oil": "oil phase", "cool-down": "cool-down phase", "adjust": "adjusters"}


class WeighingForm(EntryForm):
    """Weighings of one batch. Rows are "phase/material"; columns that can be typed into: balance, lot, weighed.

    Parameters
    ----------
    batch : Batch   Open or finished; a finished one takes corrections only.

    Examples
    --------
    `form.commit("A/glycerin", "weighed", "12,01")` records 12.01 g and says so.
    """

    def missing(self, phases: str = "") -> tuple[str, ...]:
        """Names of the lines that are not weighed yet, of all phases or of these ("A, B")."""
        asked = {name.strip() for name in phases.split(",") if name.strip()}
        return tuple(
            line.material.name
            for line in self.batch.sheet.lines
            if not self._weighings(line) and (not asked or line.phase in asked)
        )

    # What it shows

    def _view(self) -> FormView:
        lines = self.batch.sheet.lines
        done = len(lines) - len(self.missing())
        note = "\n".join(
            [
                "Type what the balance shows; a number without a unit is in grams. Blank: not weighed yet.",
                *(finding.words for finding in self.batch.sheet.findings),
            ]
        )
        part = Part("lines", f"{done} of {len(lines)} lines weighed", COLUMNS, tuple(map(self._row, lines)), note)
        title = f"Weighing {self.batch.name}: {self.batch.formula.title}, {plain(self.batch.sheet.batch_g)} g"
        return FormView(title, (part,), self._cautions())

    def _cautions(self) -> tuple[tuple[str, str], ...]:
        known = read_data("cautions.toml")["cautions"]
        asked = [known[key] for key in self.batch.sheet.cautions if key in known and not known[key].get("always")]
        last = (
            "What always holds",
            "The suppliers' safety data sheets, local rules and qualified people decide; label every beaker.",
        )
        return (*((row["title"], row["text"]) for row in asked), last)

    def _row(self, line: SheetLine) -> Row:
        key, items, name = row_key(line), self._weighings(line), line.material.name
        now = self.batch.as_planned_now(line)
        state, tone = self._state(line, items)
        total = plain(total_of(items)) if items else ""
        ask, asked = self.open_question(key)
        return Row(
            key,
            (
                Cell(HEAD, name, _caution_titles(line), label=key),
                Cell(TEXT, plain(now.target_g), now.tolerance_words()),
                self._balance_cell(line, items),
                self.input_cell(
                    key, "lot", f"lot of {name}, phase {line.phase}", _joined(items, "lot"), _small(items, "lot")
                ),
                self.input_cell(
                    key, "weighed", f"{name}, phase {line.phase}, weighed, g", total, _echo(items), decimal=True
                ),
                Cell(TEXT, state, tone=tone),
            ),
            group=f"Phase {line.phase}: {_KINDS.get(line.phase_kind, line.phase_kind)}",
            remarks=(*self.refusals(key), *self._remarks(line, items)),
            actions=self._actions(line, items),
            ask=ask,
            asked=asked,
        )

    def _balance_cell(self, line: SheetLine, items: tuple[Effective, ...]) -> Cell:
        label = f"balance for {line.material.name}, phase {line.phase}"
        if items:
            return self.input_cell(row_key(line), "balance", label, _joined(items, "balance"), _small(items, "balance"))
        cell = self.input_cell(row_key(line), "balance", label)
        planned = "planned" if line.balance.name else f"planned: {line.balance}"
        return cell if cell.state else Cell(cell.kind, line.balance.name, planned, cell.label)

    def _state(self, line: SheetLine, items: tuple[Effective, ...]) -> tuple[str, str]:
        if not items:
            return "not weighed yet", "quiet"
        found = judge(self.batch.as_planned_now(line), total_of(items))
        if found.verdict == "not judged":
            return "recorded; the balance cannot tell", "quiet"
        if found.verdict == "within":
            return "within", "pass"
        share = "" if found.deviation_pct is None else f" ({found.deviation_pct:+.1f}\u00a0%)"
        accepted = "; accepted as made" if found.verdict == "over" and self._choice(line) else ""
        return f"{found.verdict} by {plain(abs(found.deviation_g))} g{share}{accepted}", _TONES[found.verdict]

    def _remarks(self, line: SheetLine, items: tuple[Effective, ...]) -> list[Remark]:
        told = []
        verdict = judge(self.batch.as_planned_now(line), total_of(items)).verdict if items else ""
        chosen = self._choice(line)
        if verdict == "over" and chosen is not None:
            told.append(Remark(f"Over-weighed and {_CHOSEN[chosen.body['choice']]}: {chosen.body['why']}"))
        elif verdict == "over":
            told += self._over_words(line)
        elif verdict == "under":
            told.append(Remark("Weigh more, then type what the balance shows now, or the further portion.", "flag"))
        told += self._lot_remarks(line, items)
        past = [item for item in self.batch.view.effective if _is_of(item, line)]
        for item in past:
            steps = history(self.batch, item, _SHOWN)
            told += [Remark(f"History: {'; '.join(steps)}", "quiet")] if steps else []
        return told

    def _lot_remarks(self, line: SheetLine, items: tuple[Effective, ...]) -> list[Remark]:
        """What there is to say of the lots: a date passed, what a certificate changes, a number almost alike."""
        entries = {item.seq for item in items}
        told: dict[str, str] = {}
        for use in self.batch.view.lot_uses:
            if use.entry not in entries or not use.lot:
                continue
            if use.date_words():
                told[use.date_words()] = "fail"
            told |= dict.fromkeys(self.batch.like_lots(use), "flag")
            if use.certificate is not None or use.problem:
                told[use.words()] = "flag" if use.problem else "quiet"
        return [Remark(f"{upper_first(words)}.", tone) for words, tone in told.items()]

    def _over_words(self, line: SheetLine) -> list[Remark]:
        found = self.batch.over_weighing(line.material.key, line.phase)
        return [Remark(f"{found.words()} If it was a slip of reading, type what the balance shows now.", "fail")]

    def _actions(self, line: SheetLine, items: tuple[Effective, ...]) -> tuple[Action, ...]:
        over = bool(items) and judge(self.batch.as_planned_now(line), total_of(items)).verdict == "over"
        if not over or self._choice(line) is not None or self.batch.view.finished_at:
            return ()
        feasible = self.batch.over_weighing(line.material.key, line.phase).feasible
        bigger = [Action("rescale", "Make all others bigger ...")] if feasible else []
        return (Action("accept", "Accept as made ..."), *bigger)

    # What it takes

    def _take(self, row: str, column: str, text: str, choice: str, why: str) -> Outcome:
        line = self._line(row, column)
        if column == "weighed":
            return self._take_mass(line, text, choice, why)
        if column in ("lot", "balance"):
            return self._take_word(line, column, text, choice, why)
        if column in _WAYS:
            return self._take_way(line, column, choice, why)
        raise self.unknown_cell(row, column)

    def _take_mass(self, line: SheetLine, text: str, choice: str, why: str) -> Outcome:
        items, name = self._weighings(line), line.material.name
        if not text:
            return self._take_blank(line, items, choice, why)
        mass = with_unit(text, "g", where=f"weigh {line.material.key}")
        grams = read(mass, "g", where=f"weigh {line.material.key}")
        if not items:
            return self._weigh(line, mass)
        if choice == "portion":
            return self._weigh(line, mass, portion=True)
        if grams == total_of(items):
            return Outcome(UNCHANGED, f"{name}: {plain(grams)} g is recorded already")
        if choice == "correct" and len(items) == 1:
            return self._correct(line, items[0], why, mass=mass)
        ask = _ask_mass(items, grams)
        return Outcome(ASKS, f"{name}: {ask.question}", ask=ask)

    def _take_blank(self, line: SheetLine, items: tuple[Effective, ...], choice: str, why: str) -> Outcome:
        name = line.material.name
        if not items:
            return Outcome(UNCHANGED, f"{name}: not weighed yet")
        if len(items) > 1:
            numbers = " and ".join(str(item.seq) for item in items)
            raise KitError(
                f"{name} was weighed in portions, entries {numbers}",
                where=f"form of {self.batch.name}",
                mend=f'undo one of them: batch.void({items[-1].seq}, why="...")',
                code="form.portions",
            )
        if choice == "void":
            receipt = self.batch.void(items[0].seq, why=why)
            return self._checked(line, Outcome(RECORDED, f"{name}: {receipt.words}", entry=receipt.seq), Decimal(0))
        ask = Ask(
            f"{_echo(items)}, is recorded. It is not erased; it can be undone with a reason.",
            (Choice("void", "Undo the weighing", why=True), Choice(CANCEL, "Leave it")),
            ("wrong boat", "not added to the batch"),
        )
        return Outcome(ASKS, f"{name}: {ask.question}", ask=ask)

    def _weigh(self, line: SheetLine, mass: str, *, portion: bool = False) -> Outcome:
        earlier = sum(_is_of(item, line) for item in self.batch.view.effective)
        before = total_of(self._weighings(line))
        receipt = self.batch.weigh(
            line.material.key,
            mass,
            phase=line.phase,
            lot=self._word(line, "lot"),
            balance=self._word(line, "balance") or line.balance.name,
            portion=str(earlier + 1) if portion or earlier else False,
        )
        for column in ("lot", "balance"):
            self.drafts.pop((row_key(line), column), None)
        grams = read(mass, "g")
        return self._checked(
            line,
            Outcome(RECORDED, f"recorded {plain(grams)} g, {line.material.name}", entry=receipt.seq),
            before + grams,
        )

    def _take_word(self, line: SheetLine, column: str, text: str, choice: str, why: str) -> Outcome:
        items, name = self._weighings(line), line.material.name
        if not items:
            if not text or (column == "balance" and text == line.balance.name):
                return Outcome(UNCHANGED, f"{column} of {name}: blank" if not text else f"{column} as planned")
            return Outcome(NOTED, "noted, not recorded yet: it goes into the record with the mass")
        item = items[-1]
        old = item.body.get(column, "")
        if text == old or text == _joined(items, column):
            return Outcome(UNCHANGED, f"{column} of {name}: {old or 'blank'} is recorded already")
        if not old:
            return self._correct(line, item, f"{column} written in after the weighing", **{column: text})
        if choice == "correct":
            return self._correct(line, item, why, **{column: text})
        ask = Ask(
            f"{column} {old} is recorded (entry {item.seq}). Put it right to {text or 'blank'}?",
            (Choice("correct", "Put it right", why=True), Choice(CANCEL, f"Leave {old}")),
            ("typing slip", "read from the wrong label"),
        )
        return Outcome(ASKS, f"{name}: {ask.question}", ask=ask)

    def _correct(self, line: SheetLine, item: Effective, why: str, **changes: str) -> Outcome:
        receipt = self.batch.correct(item.seq, why=why, **changes)
        told = ", ".join(changes.values())
        outcome = Outcome(RECORDED, f"{line.material.name}: put right to {told}", entry=receipt.seq)
        expected = read(changes["mass"], "g") if "mass" in changes else total_of(self._weighings(line))
        return self._checked(line, outcome, expected)

    def _take_way(self, line: SheetLine, way: str, choice: str, why: str) -> Outcome:
        name, key = line.material.name, line.material.key
        if choice == way and why:
            record = self.batch.accept if way == "accept" else self.batch.rescale
            receipt = record(key, phase=line.phase, why=why)
            return Outcome(RECORDED, f"{name}: over-weighed, {_CHOSEN[way]}", entry=receipt.seq)
        self.batch.over_weighing(key, line.phase)  # refuses a line that is not over
        question, words, reasons = _WAYS[way]
        ask = Ask(question.format(name), (Choice(way, words, why=True), Choice(CANCEL, "Not now")), reasons)
        return Outcome(ASKS, f"{name}: a reason is needed", ask=ask)

    def _checked(self, line: SheetLine, outcome: Outcome, expected_g: Decimal) -> Outcome:
        """The outcome, once the record says so: an equal entry made before would have been answered, not added."""
        if total_of(self._weighings(line)) == expected_g:
            return Outcome(outcome.state, f"{outcome.words}, entry {outcome.entry}", outcome.code, outcome.entry)
        raise KitError(
            f"an equal entry ({outcome.entry}) was made before and was put right or undone since",
            where=f"form of {self.batch.name}",
            mend="give a reason in other words, so that the two can be told apart",
            code="form.equal_entry",
        )

    # What it looks up

    def _line(self, row: str, column: str) -> SheetLine:
        for line in self.batch.sheet.lines:
            if row_key(line) == row:
                return line
        raise self.unknown_cell(row, column)

    def _weighings(self, line: SheetLine) -> tuple[Effective, ...]:
        return tuple(item for item in self.batch.view.standing("weigh") if _is_of(item, line))

    def _choice(self, line: SheetLine) -> Effective | None:
        """How an over-weighed line was dealt with; None while it was not."""
        found = [item for item in self.batch.view.standing("over-weighing") if _is_of(item, line, "over-weighing")]
        return found[-1] if found else None

    def _word(self, line: SheetLine, column: str) -> str:
        draft = self.drafts.get((row_key(line), column))
        return draft.text if draft is not None and draft.outcome.state == NOTED else ""


_WAYS = {
    "accept": (
        "Accept {} with its new percentage? Look at limits, charge and pH again afterwards.",
        "Accept as made",
        ("harmless line, batch too large to rescale", "phase already mixed"),
    ),
    "rescale": (
        "Make all other lines bigger, so that {} has its percentage? Their targets grow; weigh the extra portions.",
        "Make all others bigger",
        ("the vessel is large enough", "the percentage matters"),
    ),
}
_CHOSEN = {"accept": "accepted as made", "rescale": "answered by making all others bigger"}


def row_key(line: SheetLine) -> str:
    """The key of a line's row: "A/glycerin"."""
    return f"{line.phase}/{line.material.key}"


def _is_of(item: Effective, line: SheetLine, kind: str = "weigh") -> bool:
    return item.kind == kind and (item.body["phase"], item.body["material"]) == line.place


def _joined(items: tuple[Effective, ...], name: str) -> str:
    return ", ".join(dict.fromkeys(item.body[name] for item in items if item.body.get(name)))


def _small(items: tuple[Effective, ...], name: str) -> str:
    return "recorded" if _joined(items, name) else "NOT RECORDED" if items and name == "lot" else ""


def _echo(items: tuple[Effective, ...]) -> str:
    if not items:
        return ""
    last = items[-1]
    if len(items) == 1:
        return f"{last.body['mass_g']} g, entry {last.corrected_by or last.seq}"
    return f"{plain(total_of(items))} g in {len(items)} portions, entries {', '.join(str(item.seq) for item in items)}"


def _ask_mass(items: tuple[Effective, ...], grams: Decimal) -> Ask:
    old, new = plain(total_of(items)), plain(grams)
    portion = Choice("portion", f"A further portion: {plain(total_of(items) + grams)} g in all")
    if len(items) > 1:
        return Ask(f"{_echo(items)}. Is {new} g one more?", (portion, Choice(CANCEL, f"Leave {old} g")))
    return Ask(
        f"{old} g is recorded (entry {items[0].seq}). What is {new} g?",
        (Choice("correct", "The right mass of this weighing", why=True), portion, Choice(CANCEL, f"Leave {old} g")),
        _REASONS,
    )


def _caution_titles(line: SheetLine) -> str:
    known = read_data("cautions.toml")["cautions"]
    return " · ".join(known[key]["title"] for key in line.material.cautions if key in known)
