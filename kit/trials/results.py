"""What a comparison holds for one property at one age: batch means, left-out readings, differences and verdicts.

Plain frozen data. Numbers are floats in the unit of the property; a value that is not known is None, and the words
beside it say why.
"""

from __future__ import annotations

from dataclasses import dataclass

from kit.bench.methods import AgeWindow
from kit.bench.readings import Reading
from kit.formula.model import SpecLine
from kit.science.number_text import degrees
from kit.show import Worded, paragraph

PASS, FAIL, NOT_TESTED, FLAGGED = "PASS", "FAIL", "NOT TESTED", "FLAGGED"
SPEC_VERDICTS = (PASS, FAIL, NOT_TESTED, FLAGGED)
NO_SPEC = ""

DIFFERS, NOT_SHOWN, UNTESTED = "differs", "not shown to differ", "not tested"
EQUIVALENT, CANNOT_TELL = "the same within the margin", "cannot be told with these batches"

# why a reading is in no mean
FLAG, SHOWN, NOT_COMPARABLE, IN_PROCESS, VOID = "FLAGGED", "shown, not tested", "not comparable", "in process", "void"
LEFT_OUT_STATES = (FLAG, SHOWN, NOT_COMPARABLE, IN_PROCESS, VOID)

LINEAR, LN = "linear", "ln"


@dataclass(frozen=True, slots=True, repr=False)
class LeftOut(Worded):
    """A reading that is in no mean: its state, the stable code and the reason in words.

    Parameters
    ----------
    batch : str        "LIN-05/1".
    reading : Reading  As recorded, with its conditions.
    state : str        "FLAGGED", "shown, not tested", "not comparable", "in process" or "void".
    codes : tuple      Stable codes of the reasons, such as "flag.torque_over".
    words : str        The reasons in words.
    age : str          Label of the age window it lies in, empty outside every window.
    """

    batch: str
    reading: Reading
    state: str
    codes: tuple[str, ...]
    words: str
    age: str = ""

    @property
    def code(self) -> str:
        """The codes as printed."""
        return ", ".join(self.codes)

    @property
    def value(self) -> float | None:
        """The value read, None for a coded one. [unit of the reading]"""
        return None if self.reading.value is None else float(self.reading.value)


@dataclass(frozen=True, slots=True, repr=False)
class BatchValue(Worded):
    """One batch at one age: its readings averaged. The batch is the unit; readings never raise n.

    Parameters
    ----------
    batch : str                   "LIN-03/1".
    mean : float                  Mean of its readings, geometric on the ln scale. [unit]
    sd_of_readings : float, None  Scatter within the batch, None with one reading. [unit; ln scale: relative, ln units]
    n_readings : int              How many readings are in the mean.
    day : str                     Day the batch was made, "2026-03-02".
    readings : tuple of Reading   The readings themselves.
    age_h : float, None           Their mean age. [h]
    """

    batch: str
    mean: float
    sd_of_readings: float | None
    n_readings: int
    day: str
    readings: tuple[Reading, ...] = ()
    age_h: float | None = None

    @property
    def values(self) -> tuple[float, ...]:
        """The values in the mean. [unit]"""
        return tuple(float(reading.value) for reading in self.readings)

    @property
    def words(self) -> str:
        """The batch with its mean: "LIN-03/1: 1.9e+04 of 2 readings, made 2026-03-02"."""
        readings = f"{self.n_readings} reading{'' if self.n_readings == 1 else 's'}"
        return f"{self.batch}: {self.mean:.5g} of {readings}, made {self.day}"


@dataclass(frozen=True, slots=True, repr=False)
class Difference(Worded):
    """An arm against the control: a difference, or a ratio where scatter grows with the value (ln scale).

    Parameters
    ----------
    kind : str                   "ratio" (arm over control) or "difference" (arm less control).
    value : float                The ratio [-] or the difference. [unit]
    low, high : float, None      Interval, which holds for all versions against the control together; None where the
                                 data allow none. [as value]
    half_width : float, None     Half the interval: a factor for a ratio (1.24), else in the unit of the property.
    confidence : float           0.95.
    df : float, None             Degrees of freedom of the interval.
    standard_error : float, None On the scale of the calculation (ln units for a ratio).
    interval_by : str            "pooled batch scatter", "Welch", "control of the same day", "days and batches at
                                 random", "pairs of each day" or "single batch".
    n_arm, n_control : int       Batches on either side.
    verdict : str                "differs", "not shown to differ", "the same within the margin", "cannot be told with
                                 these batches" or "not tested".
    words : str                  The whole in one sentence: n batches, n readings, interval and how it was found,
                                 verdict.
    cautions : tuple of str      What weakens it: "scatter itself poorly known", no control made on the same day.
    short : str                  Size, interval and verdict in three lines of a table.
    detectable : float, None     What these batches would find four times in five: a factor, or in the unit.
    p_adjusted : float, None     Probability of such a difference by chance, with all versions in view. [-]
    low_alone, high_alone : float, None   Interval as if it were the only version. [as value]
    margin : float, None         What was stated to be too small to matter: a ratio above 1, or in the unit.
    code : str                   "real", "not_shown", "equivalent", "cannot_tell", "no_scatter".
    brief : str                  As `short`, with what would be found and what weakens it, a line each.
    same_low, same_high : float, None   90 % interval that is held against the margin; None without one. [as value]
    same_low_together, same_high_together : float, None   The same with all versions in view: bounds that hold at once;
                                 None for one version alone. [as value]
    """

    kind: str
    value: float
    low: float | None
    high: float | None
    half_width: float | None
    confidence: float
    df: float | None
    standard_error: float | None
    interval_by: str
    n_arm: int
    n_control: int
    verdict: str
    words: str
    cautions: tuple[str, ...] = ()
    short: str = ""
    detectable: float | None = None
    p_adjusted: float | None = None
    low_alone: float | None = None
    high_alone: float | None = None
    margin: float | None = None
    code: str = ""
    same_low: float | None = None
    same_high: float | None = None
    brief: str = ""
    same_low_together: float | None = None
    same_high_together: float | None = None


@dataclass(frozen=True, slots=True, repr=False)
class ArmResult(Worded):
    """One arm (formula version) at one property and age.

    Parameters
    ----------
    arm_label : str                      "LIN-03, LIN-06".
    batch_values : tuple of BatchValue   One a batch, only what counts.
    n_batches, n_readings : int          How many are in the mean.
    mean : float, None                   Mean of the batch means, geometric on the ln scale. [unit]
    sd_batches : float, None             SD of the batch means, None below two batches. [unit; ln scale: relative, ln
                                         units]
    verdict, verdict_why : str           PASS, FAIL, NOT TESTED, FLAGGED against the spec, empty without a spec line;
                                         the reason.
    difference : Difference, None        Against the control; None for the control itself and where there is nothing to
                                         compare.
    difference_why : str                 Why there is no difference.
    flagged, shown, not_comparable : tuple of LeftOut   What is in no mean, by state.
    is_control : bool                    Whether it is what the others are set against.
    """

    arm_label: str
    batch_values: tuple[BatchValue, ...]
    n_batches: int
    n_readings: int
    mean: float | None
    sd_batches: float | None
    verdict: str
    verdict_why: str
    difference: Difference | None
    flagged: tuple[LeftOut, ...]
    shown: tuple[LeftOut, ...]
    not_comparable: tuple[LeftOut, ...]
    difference_why: str = ""
    is_control: bool = False

    @property
    def left_out(self) -> tuple[LeftOut, ...]:
        """Flagged, shown and not comparable readings together."""
        return (*self.flagged, *self.shown, *self.not_comparable)

    @property
    def words(self) -> str:
        """Mean, counts, the verdict against the spec and the difference to the control."""
        mean = "no mean" if self.mean is None else f"{self.mean:.5g}"
        against = self.difference.words if self.difference is not None else self.difference_why
        told = (
            f"{self.arm_label}: {mean} (batches {self.n_batches}, readings {self.n_readings})",
            f"{self.verdict}: {self.verdict_why}" if self.verdict else "",
            f"against the control: {against}" if against and not self.is_control else "",
            f"left out: {len(self.left_out)}" if self.left_out else "",
        )
        return "\n  ".join(line for line in told if line)


@dataclass(frozen=True, slots=True, repr=False)
class Scatter(Worded):
    """How much batches of one version scatter, pooled over versions that were made more than once.

    Parameters
    ----------
    sd : float, None        Pooled SD of batch means on the scale of the calculation. [unit, or ln units]
    df : int                Its degrees of freedom; 0 where nothing was repeated.
    rests_on : tuple of str What was pooled, in words: "LIN: LIN-03, LIN-06 (2 batches)".
    """

    sd: float | None
    df: int
    rests_on: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """The scatter with what it rests on, or that none is known."""
        if self.sd is None:
            return "no version was made more than once: how much batches scatter is not known"
        return f"SD between batches {self.sd:.3g} with {degrees(self.df)}, from {'; '.join(self.rests_on)}"


@dataclass(frozen=True, slots=True, repr=False)
class PropertyResult(Worded):
    """One property by one method at one age, arm by arm, the control first.

    Parameters
    ----------
    property, method, unit : str   "viscosity", "viscosity", "mPa.s".
    age : str                      Label of the window, "72 h".
    window : AgeWindow, None       The window itself; None where a spec line asks for an age that is no window of the
                                   study.
    scale : str                    "ln" (means are geometric, differences ratios) or "linear".
    spec : SpecLine, None          The spec line it is judged by.
    arms : tuple of ArmResult      In the order of the comparison.
    reference : Reading, None      The control's reading that the others had to be comparable with.
    scatter : Scatter              The batch scatter that is known for it.
    conditions : str               Method line: spindle, speed, reading time, temperature.
    analysis : str                 Which analysis the differences rest on, and why; empty where nothing was compared.
    multiplicity : str             How several versions against one control were allowed for; empty for one.
    notes : tuple of str           What all differences of it have to be read with.
    margin_words : str             Where the margin comes from, and whether it was stated beforehand; empty without one.
    """

    property: str
    method: str
    unit: str
    age: str
    window: AgeWindow | None
    scale: str
    spec: SpecLine | None
    arms: tuple[ArmResult, ...]
    reference: Reading | None = None
    scatter: Scatter = Scatter(None, 0)
    conditions: str = ""
    analysis: str = ""
    multiplicity: str = ""
    notes: tuple[str, ...] = ()
    margin_words: str = ""

    @property
    def title(self) -> str:
        """ "viscosity, 72 h" """
        return f"{self.property}, {self.age}"

    def arm(self, label: str) -> ArmResult:
        """The result of one arm by its label."""
        return next(arm for arm in self.arms if arm.arm_label == label)

    @property
    def words(self) -> str:
        """What it is, then every version, the control first."""
        unit = "" if self.unit in ("", "1") else f", {self.unit}"
        spec = f"; spec {self.spec.words()}" if self.spec else ""
        notes = (self.analysis, self.multiplicity, self.margin_words, *self.notes)
        told = (f"{self.title}{unit}{spec}", *(arm.words for arm in self.arms), *notes)
        return "\n".join(line for line in told if line)


@dataclass(frozen=True, slots=True, repr=False)
class BatchWord(Worded):
    """A coded observation of one batch: the word, its age and whether it counts against the spec."""

    batch: str
    word: str
    age_h: float | None
    day: str
    counts: bool = True
    why_not: str = ""

    @property
    def words(self) -> str:
        """The word with its batch, and why it does not count."""
        return f"{self.batch}: {self.word}{'' if self.counts else f' (does not count: {self.why_not})'}"


@dataclass(frozen=True, slots=True, repr=False)
class ArmWords:
    """One arm's coded observations at one age, with the verdict against the spec."""

    arm_label: str
    words: tuple[BatchWord, ...]
    verdict: str
    verdict_why: str

    def __str__(self) -> str:
        seen = "; ".join(word.words for word in self.words) or "not observed"
        return f"{self.arm_label}: {seen}{f'; {self.verdict}: {self.verdict_why}' if self.verdict else ''}"

    __repr__ = __str__

    def _repr_html_(self) -> str:
        return paragraph(self)


@dataclass(frozen=True, slots=True, repr=False)
class CodedResult(Worded):
    """One coded property (grain, colour, odour) at one age, arm by arm. `age` is empty outside every window."""

    name: str
    age: str
    window: AgeWindow | None
    spec: SpecLine | None
    arms: tuple[ArmWords, ...]

    @property
    def title(self) -> str:
        """ "grain, 7 d" """
        return f"{self.name}, {self.age}" if self.age else f"{self.name}, at no age of the study"

    @property
    def words(self) -> str:
        """What was observed, then every version, the control first."""
        return "\n".join([f"{self.title}{f'; spec {self.spec.words()}' if self.spec else ''}", *map(str, self.arms)])
