"""What a plan can and cannot tell, before a gram is weighed: half-widths and differences found, as ratios."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from kit.show import Worded
from kit.trials.plan_factors import Factor
from kit.trials.plan_layouts import ARMS, EFFECTS
from kit.trials.plan_model import Batch, Model, Question, model_of
from kit.trials.plan_scatter import Scatter, poorly_known


@dataclass(frozen=True, slots=True, repr=False)
class Answer(Worded):
    """What the plan can say about one question.

    Parameters
    ----------
    name : str               The question.
    first, second : int      Batches on either side; 0 where it is no comparison of two groups.
    half_width : float       Factor of the 95 % interval of the ratio: 1.2 is from 1/1.2 to 1.2 times; None without one.
    detectable : float       Ratio found four times in five; None without one.
    reason : str             Why there is none.
    alike : float            The half-width if days turn out to make no difference; None without one.
    """

    name: str
    first: int
    second: int
    half_width: float | None
    detectable: float | None
    reason: str = ""
    alike: float | None = None

    @property
    def words(self) -> str:
        """The question, and what the plan can say about it."""
        if self.half_width is None:
            return f"{self.name}: not tested, {self.reason}"
        found = f"found four times in five from × {self.detectable:.2f}"
        return f"{self.name}: 95 % interval × or ÷ {self.half_width:.2f}, {found}"


@dataclass(frozen=True, repr=False)
class Power(Worded):
    """What a plan can tell.

    Parameters
    ----------
    scatter : Scatter           Of batches, known or assumed.
    df_plan : int               Degrees of freedom of the plan's own scatter, the days taken out.
    answers : tuple of Answer   In the order of the questions.
    cannot : tuple of str       What it cannot tell, a sentence each.
    notes : tuple of str        What else to know.
    repeat : str                Where one more batch would buy most, in words.
    """

    scatter: Scatter
    df_plan: int
    answers: tuple[Answer, ...]
    cannot: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    repeat: str = ""

    @property
    def words(self) -> str:
        """Every answer, then what it cannot tell."""
        told = [*map(str, self.answers), *self.notes, *self.cannot, *([self.repeat] if self.repeat else [])]
        return "\n".join(told)

    @property
    def df(self) -> int:
        """Degrees of freedom of the intervals: those of the history and those of the plan."""
        return self.scatter.df + self.df_plan


def power_of(
    batches: Sequence[Batch],
    factors: Sequence[Factor],
    judged: str,
    control: str,
    scatter: Scatter,
    *,
    order: int = 2,
    candidates: Sequence[Batch] = (),
) -> Power:
    """What these batches can tell.

    Parameters
    ----------
    batches : sequence of Batch   All that are made, each with its day.
    factors : sequence            What is varied.
    judged : str                  How, as `model_of`.
    control : str                 Key of the control; empty without.
    scatter : Scatter             Of batches.
    order : int                   Of the model.
    candidates : sequence         Points that one more batch could be made of.

    Returns
    -------
    Power   Half-width t(df) s sqrt(v) and the difference found with a chance of 0.8 from the noncentral t, both on
            ln(value), given as ratios; v from the least-squares columns of the plan, days included. Cohen (1988),
            Statistical Power Analysis, chapter 2.
    """
    model = model_of(batches, factors, judged, control, order=order)
    alike = model_of(batches, factors, judged, control, order=order, blocks="")
    answers = tuple(
        replace(answer_to(model, question, scatter), alike=answer_to(alike, same, scatter).half_width)
        for question, same in zip(model.questions, alike.questions, strict=True)
    )
    cannot = [*day_sentences(batches, factors, judged), *left_out(model), *_unseen(judged, batches, control)]
    return Power(
        scatter,
        model.df,
        answers,
        tuple(cannot),
        tuple(_notes(scatter, model.df, judged, answers)),
        _best_repeat(batches, factors, judged, control, scatter, order, candidates),
    )


def ranked_repeats(
    batches: Sequence[Batch],
    factors: Sequence[Factor],
    judged: str,
    control: str,
    scatter: Scatter,
    order: int,
    candidates: Sequence[Batch],
) -> list[tuple[float, Batch]]:
    """Candidates for one more batch, by the mean half-width they leave, the best first; days apart. [ln]"""
    ranked = []
    for place, one in enumerate(candidates):
        model = model_of([*batches, one], factors, judged, control, order=order, blocks="")
        ranked.append((_mean_width(model, scatter), place, one))
    return [(width, one) for width, _, one in sorted(ranked, key=lambda item: item[:2])]


def interval_factors(scatter: Scatter, df: int, variance: float) -> tuple[float, float]:
    """Half-width of the 95 % interval and the difference found four times in five, as ratios.

    Parameters
    ----------
    scatter : Scatter   Of batches.
    df : int            Degrees of freedom, 1 or more.
    variance : float    Of the difference over that of a batch: 1/n1 + 1/n2 for two means. [-]
    """
    error = scatter.sd * math.sqrt(variance)
    return math.exp(_t(df) * error), math.exp(_noncentral(df) * error)


def answer_to(model: Model, question: Question, scatter: Scatter) -> Answer:
    """What a model can say about one of its questions.

    Parameters
    ----------
    model : Model         Of the plan.
    question : Question   One of its own.
    scatter : Scatter     Of batches.
    """
    df = scatter.df + model.df
    variance = model.variance(question)
    if variance is None:
        return Answer(question.name, question.first, question.second, None, None, "coincides with the day")
    if df < 1:
        return Answer(question.name, question.first, question.second, None, None, NO_SCATTER)
    return Answer(question.name, question.first, question.second, *interval_factors(scatter, df, variance))


NO_SCATTER = "nothing is repeated and no history is known"


def _mean_width(model: Model, scatter: Scatter) -> float:
    df = max(scatter.df + model.df, 1)
    asked = [question for question in model.questions if question.first] or model.questions  # a trend is over and above
    found = [model.variance(question) for question in asked]
    known = [math.sqrt(one) for one in found if one is not None]
    return _t(df) * scatter.sd * sum(known) / len(known) if known else float("inf")


def _best_repeat(batches, factors, judged, control, scatter, order, candidates) -> str:
    if not candidates:
        return ""
    now = model_of(batches, factors, judged, control, order=order, blocks="")
    width, best = ranked_repeats(batches, factors, judged, control, scatter, order, candidates)[0]
    if scatter.df + now.df < 1:
        return f"One more batch, of {best.label}, would give the first sight of the scatter."
    before, after = f"{math.exp(_mean_width(now, scatter)):.2f}", f"{math.exp(width):.2f}"
    if before == after:
        return f"One more batch buys next to nothing: the mean half-width stays at a factor of {before}."
    return (
        f"One more batch buys most at {best.label}: the mean half-width, the days left aside, goes from a factor of "
        f"{before} to {after}."
    )


def day_sentences(batches: Sequence[Batch], factors: Sequence[Factor], judged: str) -> list[str]:
    """A factor that equals a day, or nearly so; the control is left out, as it is made on every day.

    Parameters
    ----------
    batches : sequence of Batch   With their days.
    factors : sequence            What is varied.
    judged : str                  Interactions are looked at where effects are judged.
    """
    from kit.science.design_day import confounded_with_day

    inside = [batch for batch in batches if batch.coded]
    if not inside or not factors:
        return []
    levels = {factor.name: [batch.levels[place] for batch in inside] for place, factor in enumerate(factors)}
    found = confounded_with_day(levels, [f"day {batch.day}" for batch in inside], interactions=judged == EFFECTS)
    return [one.words.replace(one.effect, one.effect.replace(":", " × ")) for one in found]


def left_out(model: Model) -> list[str]:
    """Effects that no batch is left for, in a sentence.

    Parameters
    ----------
    model : Model   Of the plan.
    """
    if not model.left_out:
        return []
    return [f"No batch is left to tell {', '.join(model.left_out)}: taken to be nothing, or part of the others."]


def _unseen(judged: str, batches: Sequence[Batch], control: str) -> list[str]:
    if judged == ARMS and not control:
        return ["There is no control: days and operators are not carried by anything."]
    if control and len({batch.day for batch in batches}) > 1:
        bare = {batch.day for batch in batches} - {batch.day for batch in batches if batch.key == control}
        if bare:
            return [
                f"No control on day {', '.join(map(str, sorted(bare)))}: batches of that day are compared across days."
            ]
    return []


def _notes(scatter: Scatter, df_plan: int, judged: str, answers: Sequence[Answer]) -> list[str]:
    df = scatter.df + df_plan
    notes = [f"Scatter of batches: {scatter.words}. Intervals rest on {df} df ({df_plan} of them from this plan)."]
    doubt = poorly_known(scatter)
    if df and doubt:
        notes.append(doubt)
    arms = [answer for answer in answers if answer.first] if judged == ARMS else []
    if len(arms) > 1 and df:
        notes.append(
            f"{len(arms)} comparisons with one control: each line holds for one of them alone. {_together(arms, df)}"
        )
    return notes


def _together(arms: Sequence[Answer], df: int) -> str:
    """What judging all arms against the one control makes of the widest interval."""
    widest = max((arm for arm in arms if arm.alike), key=lambda arm: arm.alike, default=None)
    if widest is None:
        return "Judged together (Dunnett) the intervals are wider."
    from kit.science.simultaneous import critical_value

    loadings = tuple(round(math.sqrt(arm.first / (arm.first + arm.second)), 12) for arm in arms)
    wider = critical_value(loadings, float(df)) / _t(df)
    told = widest.half_width or widest.alike
    return f"Judged together (Dunnett, days alike) intervals are wider: × or ÷ {told:.2f} becomes {told**wider:.2f}."


def _t(df: int) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(df, 0.975))


def _noncentral(df: int) -> float:
    """Standard errors that a difference must have to be found four times in five."""
    from kit.science.detectable import detectable_errors

    return detectable_errors(_t(df), df)
