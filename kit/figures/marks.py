"""What the figures of results share: names and numbers in words, the spec, the control's band, marks with footnotes."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from string import ascii_lowercase

from kit.figures.figure import band
from kit.show import TOKENS
from kit.trials.compare import Comparison
from kit.trials.results import FLAG, NOT_COMPARABLE, ArmResult, LeftOut, PropertyResult
from kit.trials.values import one_sd
from kit.trials.wording import plural

GREY = "#8a939c"
SIDE_PX, SIDE_WORDS = 120, 16  # room beside a figure for the words of the spec, in pixels and letters
BAND_NAME = "control ± pooled SD"
_BAND_FILL, _BAND_EDGE = "rgba(60,60,60,0.12)", "#59636e"

# Name, marker, colour and side of the letter, of what is in no mean, by its state; any other state is a condition that
# was not recorded.
_LOOKS = {
    FLAG: ("flagged", "circle-open", TOKENS["series"][1], "middle left"),
    NOT_COMPARABLE: ("not comparable", "x-thin-open", GREY, "middle right"),
}
_OTHER_LOOK = ("not tested", "square-open", GREY, "bottom center")


class Footnotes:
    """Letters for the readings that are drawn and in no mean, and what each stands for."""

    def __init__(self, unit: str) -> None:
        self._unit = unit
        self._letters: dict[tuple[str, int], str] = {}
        self.lines: list[str] = []

    def letter(self, item: LeftOut) -> str:
        """The letter of one reading; the same reading always has the same."""
        key = (item.batch, item.reading.entry)
        if key not in self._letters:
            self._letters[key] = _letter(len(self._letters))
            unit = "" if self._unit in ("", "1") else f" {self._unit}"
            value = f"{number(item.value, self._unit)}{unit}"
            self.lines.append(f"{self._letters[key]}: {item.batch}, {value}, {item.state}: {item.words}")
        return self._letters[key]


def left_out_traces(items: Sequence[tuple[object, LeftOut]], notes: Footnotes) -> list[dict]:
    """Marks of the readings in no mean, each pair the x and the reading, with the reason on hover and as a footnote."""
    drawn = [(x, item) for x, item in items if item.value is not None]
    looks = dict.fromkeys(_LOOKS.get(item.state, _OTHER_LOOK) for _, item in drawn)
    ordered = [look for look in (*_LOOKS.values(), _OTHER_LOOK) if look in looks]
    return [
        _left_out(look, [(x, item) for x, item in drawn if _LOOKS.get(item.state, _OTHER_LOOK) == look], notes)
        for look in ordered
    ]


def _left_out(look: tuple[str, str, str, str], rows: Sequence[tuple[object, LeftOut]], notes: Footnotes) -> dict:
    name, symbol, color, side = look
    return {
        "type": "scatter",
        "mode": "markers+text",
        "name": name,
        "x": [x for x, _ in rows],
        "y": [item.value for _, item in rows],
        "text": [notes.letter(item) for _, item in rows],
        "textposition": side,
        "textfont": {"size": 12, "color": TOKENS["ink"]},
        "hovertext": [f"{item.batch}: {item.words}" for _, item in rows],
        "hovertemplate": "%{hovertext}<br>%{y:,.6~g}<extra></extra>",
        "marker": {"symbol": symbol, "size": 12, "color": color, "line": {"width": 2, "color": color}},
    }


def _letter(index: int) -> str:
    letters = ""
    index += 1
    while index:
        index, place = divmod(index - 1, len(ascii_lowercase))
        letters = ascii_lowercase[place] + letters
    return letters


def white_rimmed(
    name: str, spots: Sequence[Sequence[float]], words: Sequence[str], look: Mapping[str, str], size: int
) -> dict:
    """Marks of batches on a plane, each with a white rim, so that those that overlap can be told apart.

    Parameters
    ----------
    name : str                    In the legend.
    spots : sequence of pairs     Of each mark; what follows the first two numbers does not count.
    words : sequence of str       Of each mark, on hover.
    look : mapping                "symbol" and "color".
    size : int                    Of a mark. [px]
    """
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "x": [spot[0] for spot in spots],
        "y": [spot[1] for spot in spots],
        "hovertext": list(words),
        "hoverinfo": "text",
        "cliponaxis": False,
        "marker": {
            "symbol": look["symbol"],
            "size": size,
            "color": look["color"],
            "line": {"color": "#ffffff", "width": 1},
        },
    }


def spec_band(comparison: Comparison, result: PropertyResult, reach: Sequence[float]) -> tuple[list[dict], list[dict]]:
    """The spec shaded with its numbers, its age and the day it was set down; nothing without limits.

    `reach` are the ends of the value axis: a limit on one side only is shaded to the end of the other.
    """
    spec = result.spec
    if spec is None or (spec.low is None and spec.high is None):
        return [], []
    low, high = (None if limit is None else float(limit) for limit in (spec.low, spec.high))
    age = [f"at {spec.age}"] if spec.age else []
    limits = textwrap.wrap(spec.words(), SIDE_WORDS, break_long_words=False)
    return band(low, high, reach=reach, lines=["spec", *limits, *age, f"dated {comparison.study.spec_dated}"])


def control_limits(result: PropertyResult) -> tuple[float, float] | None:
    """The control's mean less and plus one pooled SD of batches; None without a mean or a known scatter. [unit]"""
    mean, spread = result.arms[0].mean, result.scatter.sd
    if not result.arms[0].is_control or mean is None or spread is None:
        return None
    return one_sd(mean, spread, result.scale)


def control_words(result: PropertyResult) -> list[str]:
    """What the control's band is, in a line under the figure; why there is none where there is none."""
    control = result.arms[0]
    if not control.is_control:
        return ["No band of the control: no control is named."]
    if control.mean is None:
        return [f"No band of the control: {control.arm_label} has no value that counts."]
    if result.scatter.sd is None:
        return ["No band of the control: no version was made twice, so the scatter of batches is not known."]
    poorly = "; scatter itself poorly known" if result.scatter.df < 5 else ""
    return [
        f"Grey band: control {control.arm_label}, mean ± 1 pooled SD of batches ({result.scatter.df} df{poorly}): "
        f"{span(control_limits(result), result.unit)}."
    ]


def control_band(result: PropertyResult) -> list[dict]:
    """The control's band across the figure, named in the legend; nothing where its scatter is not known."""
    limits = control_limits(result)
    if limits is None:
        return []
    return [
        {
            "type": "rect",
            "name": BAND_NAME,
            "showlegend": True,
            "xref": "paper",
            "x0": 0,
            "x1": 1,
            "y0": limits[0],
            "y1": limits[1],
            "fillcolor": _BAND_FILL,
            "layer": "below",
            "line": {"width": 1, "dash": "dash", "color": _BAND_EDGE},
        }
    ]


def control_polygon(results: Sequence[PropertyResult]) -> dict | None:
    """The control's band over several ages, as one filled shape; None where its scatter is known at none."""
    known = [(result, control_limits(result)) for result in results if result.window is not None]
    ends = [(float(result.window.age_h), limits) for result, limits in known if limits is not None]
    if not ends:
        return None
    there = [(age, high) for age, (_, high) in ends]
    back = [(age, low) for age, (low, _) in reversed(ends)]
    return {
        "type": "scatter",
        "mode": "lines",
        "name": BAND_NAME,
        "x": [age for age, _ in [*there, *back]],
        "y": [value for _, value in [*there, *back]],
        "fill": "toself",
        "fillcolor": _BAND_FILL,
        "line": {"width": 1, "dash": "dash", "color": _BAND_EDGE},
        "hoverinfo": "skip",
    }


def value_range(values: Iterable[float], result: PropertyResult) -> list[float]:
    """From below the least to above the greatest of these values and the limits of the spec; never below zero."""
    limits = (result.spec.low, result.spec.high) if result.spec else ()
    found = [*values, *(float(limit) for limit in limits if limit is not None), *(control_limits(result) or ())]
    low, high = min(found, default=0.0), max(found, default=1.0)
    room = 0.12 * (high - low or abs(high) or 1.0)
    return [max(low - room, 0.0) if low >= 0 else low - room, high + room]


def arm_counts(arm: ArmResult) -> list[str]:
    """How much is in a mean and how much is not: ["n = 2 batches", "1 flagged"]."""
    readings = [] if arm.n_readings == arm.n_batches else [plural(arm.n_readings, "reading")]
    batches = [f"n = {plural(arm.n_batches, 'batch', 'batches')}", *readings] if arm.n_batches else ["no value"]
    left = (("flagged", arm.flagged), ("not comparable", arm.not_comparable), ("not tested", arm.shown))
    return [*batches, *(f"{len(items)} {name}" for name, items in left if items)]


def property_name(result: PropertyResult) -> str:
    """The property as a title begins with it."""
    return result.property if result.property == "pH" else result.property[:1].upper() + result.property[1:]


def axis_title(result: PropertyResult) -> str:
    """The property with its unit; a pH has none."""
    return result.property if result.unit in ("", "1") else f"{result.property}, {result.unit}"


def method_line(result: PropertyResult, *, age: bool = True) -> str:
    """The method under a title: spindle, speed, reading time, temperature, container, and the age."""
    method = result.conditions or (f"method: {result.method}" if result.method else "method NOT RECORDED")
    return f"{method}, age {result.window}" if age and result.window is not None else method


def number(value: float | None, unit: str) -> str:
    """A number as the tables of figures print it."""
    if value is None:
        return "–"
    if unit in ("", "1"):
        return f"{value:.2f}"
    if unit == "g/mL":
        return f"{value:.3f}"  # as a cup is read: air of one per cent is 0.01
    return f"{value:,.0f}".replace(",", " ") if abs(value) >= 10000 else f"{value:.4g}"


def span(limits: tuple[float, float], unit: str) -> str:
    """ "18 784 to 20 311" """
    return " to ".join(number(limit, unit) for limit in limits)
