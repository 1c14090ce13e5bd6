"""A response in words and tables."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from kit.show import Cell, Table
from kit.trials.wording import plural, significant

if TYPE_CHECKING:
    from kit.trials.response_fitted import Fitted

_FEW = 5  # degrees of freedom below which a scatter is called poorly known (common practice, no source)


def number(value: float, log: bool) -> str:
    """A value of the property: four significant figures where it is a ratio scale, else as many as a reading has."""
    return significant(value, 4 if log else 3)


def words(response: Fitted) -> str:
    """The fit in a few sentences."""
    model = response.model
    head = f"{response.name} of study {response.study}, {plural(len(response.batches), 'batch', 'batches')}"
    head += f" on levels as {response.state}"
    if not model.is_fitted:
        return f"{head}: NOT FITTED. {model.reason}."
    scale = "ln of the value" if response.log else "the value"
    parts = [f"{head}. Model of {scale}: {response.choice.words}."]
    if model.sd is None:
        parts.append(f"No errors: {model.reason}.")
    else:
        parts.append(f"Scatter of one batch {_sd(response, model.sd)} ({model.sd_from}). {_shares(response)}")
    parts.append(_lack(response))
    if response.day_effect:
        parts.append(response.day_effect)
    spec = _spec_words(response)
    return " ".join(part for part in (*parts, spec) if part)


def _sd(response: Fitted, sd: float) -> str:
    return f"{100 * sd:.1f} %" if response.log else f"{significant(sd, 2)} {response.unit}".strip()


def _shares(response: Fitted) -> str:
    model = response.model
    told = [] if model.r2 is None else [f"R² {model.r2:.2f}"]
    if model.r2_predicted is None:
        told.append("predicted R² not known")
    elif model.r2_predicted < 0:
        told.append("predicted R² below 0: of a new batch the model tells less than the plain mean does")
    else:
        told.append(f"predicted R² {model.r2_predicted:.2f}")
    return f"{', '.join(told)}."


def _lack(response: Fitted) -> str:
    found = response.model.lack_of_fit
    if found is None or found.p is None:
        return "" if found is None else f"Lack of fit not tested: {found.reason}."
    verdict = "is shown: the model misses by more than batches scatter" if found.is_shown else "is not shown"
    against = f"the {found.against}"
    if found.against == "repeats":
        pure = _sd(response, math.sqrt(found.pure_squares / found.pure_df))
        few = ", few: that scatter is itself poorly known" if found.pure_df < _FEW else ""
        against = f"repeats, which scatter {pure} with {found.pure_df:g} df{few}"
    return f"Lack of fit {verdict} (against {against}; p = {found.p:.2g})."


def _spec_words(response: Fitted) -> str:
    """Said where the interval of one new batch is about as wide as the spec."""
    spec, model = response.result.spec, response.model
    if spec is None or spec.low is None or spec.high is None or model.sd is None:
        return ""
    found = response.predict([response.batches[0].levels])
    low, high = float(spec.low), float(spec.high)
    if response.log and low > 0:
        share = math.log(found.new_high[0] / found.new_low[0]) / math.log(high / low)
    else:
        share = (found.new_high[0] - found.new_low[0]) / (high - low)
    if share < 1:
        return ""
    return (
        f"The interval of one new batch is {share:.1f} times as wide as the spec: that it lies inside confirms little."
    )


def coefficients_table(response: Fitted) -> Table:
    """Every term with its error, t and p."""
    model, log = response.model, response.log
    rows = []
    for found in model.coefficients:
        error = "not known" if found.standard_error is None else f"{found.standard_error:.4g}"
        rows.append(
            (
                "constant" if found.term.name == "1" else found.term.name,
                f"{found.estimate:.4f}",
                error,
                "" if found.t is None else f"{found.t:.2f}",
                "" if found.p is None else f"{found.p:.2g}",
                number(math.exp(found.estimate), True) if log else "",
            )
        )
    unit = "ln units" if log else response.unit or "coefficient"
    head = ("term", unit, "standard error", "t", "p", f"as {response.unit or 'value'}" if log else "")
    parts = response.space.parts
    note = "Parts of the mixture are L-pseudocomponents of their total." if parts else ""
    if len(response.space.factors) > parts:
        coded = ", ".join(
            f"{factor.name} {low:g} to {high:g} {factor.unit}".strip()
            for factor, low, high in zip(
                response.space.factors[parts:], response.space.low[parts:], response.space.high[parts:], strict=True
            )
        )
        note = f"{note} Coded -1 to 1: {coded}.".strip()
    if not log:
        head, rows = head[:-1], [row[:-1] for row in rows]
    return Table(head, rows, f"Terms of {response.name}", note, frozenset(range(1, len(head))))


def batches_table(response: Fitted) -> Table:
    """Every batch: levels, value, what the model says, residual, leverage."""
    model, log = response.model, response.log
    heads = [factor.head for factor in response.space.factors]
    rows = []
    for index, batch in enumerate(response.batches):
        student = model.studentized[index] if model.studentized else None
        fitted = model.fitted[index]
        left = f"{100 * math.expm1(model.residuals[index]):+.0f} %" if log else f"{model.residuals[index]:+.3g}"
        rows.append(
            (
                batch.batch,
                batch.day,
                *(f"{level:.3f}".rstrip("0").rstrip(".") for level in batch.levels),
                number(batch.value, log),
                number(fitted, log),
                left,
                "not known" if student is None else f"{student:.2f}",
                f"{model.leverage[index]:.2f}",
            )
        )
    unit = f", {response.unit}" if response.unit else ""
    columns = (
        "batch",
        "day",
        *heads,
        f"measured{unit}",
        f"model{unit}",
        "residual",
        "studentized",
        "leverage",
    )
    title = f"Batches of {response.name}, levels as {response.state}"
    return Table(columns, rows, title, numeric=frozenset(range(2, len(columns))))


def held_out_table(response: Fitted) -> Table | None:
    """Batches kept back against the interval of one new batch; None without any."""
    held = response.data.held_out
    if not held or not response.is_fitted:
        return None
    found = response.predict([batch.levels for batch in held])
    rows = []
    for index, batch in enumerate(held):
        interval, verdict = "no interval", Cell("not tested", "quiet")
        if found.new_low is not None:
            low, high = float(found.new_low[index]), float(found.new_high[index])
            interval = f"{number(low, response.log)} to {number(high, response.log)}"
            inside = low <= batch.value <= high
            verdict = Cell("inside", "pass") if inside else Cell("OUTSIDE", "fail")
        rows.append(
            (
                batch.batch,
                number(batch.value, response.log),
                number(float(found.mean[index]), response.log),
                interval,
                verdict,
                found.outside[index] or "in the tried region",
            )
        )
    head = ("batch kept back", "measured", "model", "95 % of new batches", "verdict", "where")
    return Table(head, rows, "Does the model hold for batches it has not seen?", numeric=frozenset({1, 2, 3}))


def unused_table(response: Fitted) -> Table | None:
    """Batches and readings in no fit; None without any."""
    rows = [(item.batch, "batch", item.why) for item in response.data.unused]
    alike: dict[tuple[str, str], list[str]] = {}
    for item in response.data.left_out:
        alike.setdefault((item.batch, f"{item.state} ({item.code})"), []).append(item.reading.text or f"{item.value:g}")
    rows += [(batch, _readings(values), why) for (batch, why), values in alike.items()]
    return Table(("batch", "what", "why it does not count"), rows, "Not in the fit") if rows else None


def _readings(values: Sequence[str]) -> str:
    return f"reading {values[0]}" if len(values) == 1 else f"{len(values)} readings: {', '.join(values)}"
