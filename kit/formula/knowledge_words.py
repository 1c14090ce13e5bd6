"""An unknown and its value as a formulator says them: "Lactic Acid (88 %): share of assay", "98.6 ± 1.1 %"."""

from __future__ import annotations

from collections.abc import Sequence

_SAYS = {
    "pka": "pKa",
    "assay": "share of assay",
    "latent": "share still bound",
    "acidity": "acid it brings",
    "buffering": "buffering",
}
_SHARES = frozenset({"assay", "latent"})
_CONTENTS = frozenset({"latent", "buffering"})  # below zero they count as zero in a prediction
_REST = "rest of the base: acid it brings"

_NARROWED, _SHIFTED = 0.95, 0.2  # less of a change is not felt: in the spread, and in the mean against the prior's


def title(what: str, subject: str) -> str:
    """What an unknown is called.

    Parameters
    ----------
    what : str      acidity, buffering, latent, assay, pka or offset.
    subject : str   Name of the supply form or the substance.
    """
    return _REST if what == "offset" else f"{subject}: {_SAYS.get(what, what)}"


def value_words(what: str, unit: str, constants: Sequence[float], mean: float, sd: float) -> str:
    """A mean with its standard deviation: a share in per cent, a pKa as the constants themselves.

    Parameters
    ----------
    what : str              As for `title`.
    unit : str              Of mean and standard deviation.
    constants : sequence    As printed, which the unknown of a pKa shifts. [-]
    mean, sd : float        [unit]
    """
    mean = max(mean, 0.0) if what in _CONTENTS else mean
    if what == "pka" and constants:
        told = f"{', '.join(f'{constant + mean:.2f}' for constant in constants)} ± {sd:.2f}"
    elif what in _SHARES:
        told = f"{100 * mean:.1f} ± {100 * sd:.1f} %"
    else:
        places = 3 if unit.startswith("meq/g") else 2
        told = f"{round(mean, places) + 0.0:.{places}f} ± {sd:.{places}f} {'' if unit == '1' else unit}".rstrip()
    return _minus(told)


def is_felt(prior_mean: float, prior_sd: float, mean: float, sd: float) -> bool:
    """Whether readings said anything of an unknown: it became narrower, or it moved. [all in its unit]

    Parameters
    ----------
    prior_mean, prior_sd : float   Before.
    mean, sd : float               After.
    """
    return sd < _NARROWED * prior_sd or abs(mean - prior_mean) > _SHIFTED * prior_sd


def signed(off: float) -> str:
    """How far a pH is off, with its sign and a true minus: "+0.07", "−0.03". [pH]"""
    return _minus(f"{round(off, 2) + 0.0:+.2f}")  # never a minus before 0.00


def _minus(text: str) -> str:
    return text.replace("-", "−")
