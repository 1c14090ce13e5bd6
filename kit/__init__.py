"""A formulation lab book for hair conditioners: formula, batch, readings, comparison, write-up.

The public names are loaded when first used, so that `import kit` costs almost nothing.
"""

from __future__ import annotations

from importlib import import_module

__version__ = "0.4.0"

_PUBLIC = {
    "KitError": "kit.errors",
    "between_instruments": "kit.trials.two_instruments",
    "combing": "kit.trials.combing",
    "colour_differences": "kit.trials.colour",
    "compare": "kit.trials.compare",
    "diff": "kit.formula.versions",
    "fit_response": "kit.trials.response",
    "import_formula": "kit.formula.intake",
    "learn_ph": "kit.trials.learned",
    "load_formula": "kit.formula.files",
    "load_library": "kit.formula.library",
    "new_labbook": "kit.labbook.book",
    "next_trial": "kit.trials.next_trial",
    "open_labbook": "kit.labbook.book",
    "open_source": "kit.labbook.source",
    "panel": "kit.trials.panel",
    "paste_formula": "kit.formula.intake",
    "ph_drift": "kit.trials.drift",
    "plan_batch": "kit.bench.sheet",
    "plan_made": "kit.trials.plan_made",
    "plan_stability": "kit.bench.stability_plan",
    "plan_variations": "kit.trials.plan_variations",
    "review_lots": "kit.formula.rules.lots",
    "review_many": "kit.formula.rules.many",
    "run_template": "kit.writeup.run",
    "stability": "kit.trials.stability",
    "titration": "kit.trials.learned",
    "verify": "kit.writeup.bundle",
    "write_comparison": "kit.writeup.write_up",
    "write_stability": "kit.writeup.stability_page",
    "write_up": "kit.writeup.write_up",
}

__all__ = ["__version__", *sorted(_PUBLIC)]


def __getattr__(name: str):
    if name not in _PUBLIC:
        raise AttributeError(f"module 'kit' has no attribute {name!r}")
    value = getattr(import_module(_PUBLIC[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *_PUBLIC})
