"""Whether the place served decided a choice between two: how many chose the one that was served first."""

from __future__ import annotations

from dataclasses import dataclass

from kit.bench.panel import PanelKept
from kit.science.panel_tests import PAIRED_TWO_SIDED, PanelTest, panel_test, share_words
from kit.science.serving_orders import PAIRED, PREFERENCE
from kit.show import Worded
from kit.trials.panel_finding import p_words


@dataclass(frozen=True, slots=True, repr=False)
class PlaceEffect(Worded):
    """How many chose the sample served first.

    Parameters
    ----------
    test : PanelTest            Its `right` are the choices of the sample served first; 50 % where the place is nothing.
    stood_first : tuple of int  How often each of the two samples stood first, of those who answered.
    samples : tuple of str      The two, in order of their letters.

    Notes
    -----
    Where each sample stood first equally often, a preference alone gives 50 % and scatters less than guessing does, so
    that the exact binomial interval and p are never too narrow.
    """

    test: PanelTest
    stood_first: tuple[int, int]
    samples: tuple[str, str]

    @property
    def words(self) -> str:
        """The count, and the effect of the place where one is shown."""
        return " ".join([self.counted, *self.judged])

    @property
    def counted(self) -> str:
        """The count with its exact interval, in a sentence that does not judge."""
        test = self.test
        return (
            f"{test.right} of {test.assessors} chose the one served first: {share_words(test.share())}; 50 % where the "
            f"place served does not matter.{self._uneven()}"
        )

    @property
    def judged(self) -> tuple[str, ...]:
        """The effect of the place where one is shown; nothing where none is."""
        test = self.test
        if not test.shown:
            return ()
        place = "first" if 2 * test.right > test.assessors else "second"
        found = f"An effect of the place served is shown ({p_words(test.p)}, both sides)"
        if test.agreeing == test.assessors:
            return (
                f"{found}: everybody chose the one served {place}. They chose by place, and of the samples nothing is "
                "told.",
            )
        return (f"{found}: most chose the one served {place}. It hides what the samples do.",)

    def _uneven(self) -> str:
        """Said where order and sample are not quite apart."""
        one, other = self.stood_first
        if one == other:
            return ""
        first, second = self.samples
        return f" {first} stood first {one} times, {second} {other} times: a preference moves this share a little."


def place_effect(kept: PanelKept) -> PlaceEffect | None:
    """How many chose the sample served first; None for anything but a choice between two samples.

    Parameters
    ----------
    kept : PanelKept   With at least one answer.
    """
    if kept.kind not in (PAIRED, PREFERENCE):
        return None
    served = [(kept.serving(name), found.answer) for name, found in kept.counted.items()]
    first = sum(answer == serving.codes[0] for serving, answer in served)
    stood = tuple(sum(serving.order[0] == letter for serving, _ in served) for letter in kept.letters)
    test = panel_test(PAIRED_TWO_SIDED, first, len(served), float(kept.alpha))
    return PlaceEffect(test, stood, tuple(kept.samples.values()))
