"""A panel test as it is planned: which batches, served to whom in which order under which codes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from kit.science.serving_orders import DUO_TRIO, Balance, Order, balance, blind_codes, serving_orders
from kit.show import Fielded

PLACES = ("hair", "forearm", "tress", "jar")
ON_PEOPLE = ("hair", "forearm")
PLACE_WORDS = {
    "hair": "on hair, rinsed off",
    "forearm": "on the forearm, rinsed off",
    "tress": "on cut tresses",
    "jar": "in the jar, looked at and smelled",
}


@dataclass(frozen=True, slots=True, repr=False)
class Serving(Fielded):
    """What one assessor is served.

    Parameters
    ----------
    assessor : str           Code of the assessor.
    order : tuple of str     Letters in the order served; in a duo-trio test the open reference stands first.
    codes : tuple of str     Three-digit code of each coded sample, in the order served.
    """

    assessor: str
    order: Order
    codes: tuple[str, ...]

    @property
    def letters(self) -> dict[str, str]:
        """Code to the letter behind it."""
        return dict(zip(self.codes, self.order[len(self.order) - len(self.codes) :], strict=True))

    @property
    def reference(self) -> str:
        """Letter of the open reference; empty where there is none."""
        return self.order[0] if len(self.order) > len(self.codes) else ""


@dataclass(frozen=True)
class PanelPlan:
    """A panel test before anybody has answered.

    Parameters
    ----------
    name, study, kind, question : str   The kind is one of `kit.science.serving_orders.KINDS`.
    samples : dict                Letter to batch, or to the bought reference product of the study.
    servings : tuple of Serving   In the order the assessors were planned.
    seed : int                    The orders and codes were drawn from.
    alpha : Decimal               Risk of seeing what is not there, stated before. [-]
    similar_below : Decimal       Share of discriminators that would still be taken as alike; None for a test of
                                  difference. [-]
    expected : tuple of str       Letters as they were expected before, the most first; empty where nothing was.
    place : str                   One of PLACES.
    consent, override : str       Who holds the consent; why a rule of safety was set aside.
    overridden : tuple of str     The rules that were set aside, in words.
    allergens : tuple of str      What is known of allergens over all samples.
    scale : tuple of int          Least and largest mark of a rating; empty for other kinds.
    at : str                      When it was planned, ISO 8601.
    """

    name: str
    study: str
    kind: str
    question: str
    samples: Mapping[str, str]
    servings: tuple[Serving, ...]
    seed: int
    alpha: Decimal
    similar_below: Decimal | None = None
    expected: tuple[str, ...] = ()
    place: str = "tress"
    consent: str = ""
    override: str = ""
    overridden: tuple[str, ...] = ()
    allergens: tuple[str, ...] = ()
    scale: tuple[int, ...] = ()
    at: str = ""

    @property
    def letters(self) -> tuple[str, ...]:
        """Letters of the samples, in order."""
        return tuple(self.samples)

    @property
    def trials(self) -> tuple[str, ...]:
        """Trials whose batches are in the panel."""
        return tuple(dict.fromkeys(batch.rpartition("/")[0] for batch in self.samples.values() if "/" in batch))

    def serving(self, assessor: str) -> Serving | None:
        """What an assessor is served; None where there is no such assessor."""
        return next((serving for serving in self.servings if serving.assessor == assessor), None)

    def balance(self, assessors: Iterable[str] | None = None) -> Balance:
        """How evenly the samples are spread over the servings.

        Parameters
        ----------
        assessors : iterable of str   Only of these; of all where omitted.
        """
        wanted = None if assessors is None else set(assessors)
        orders = [serving.order for serving in self.servings if wanted is None or serving.assessor in wanted]
        return balance(self.kind, self.letters, orders)

    @property
    def balance_words(self) -> str:
        """Whether every order is served equally often, and with how many assessors it would be."""
        found, count = self.balance(), len(self.servings)
        size = len(found.orders)
        if found.exact:
            return f"Each of {size} serving orders is served {count // size} times."
        less = count // size * size
        even = f"{less} or {less + size}" if less else f"{size}"
        return f"{count} assessors do not fill the {size} serving orders evenly; {even} would."


def planned_servings(kind: str, letters: Sequence[str], assessors: Sequence[str], seed: int) -> tuple[Serving, ...]:
    """Orders and codes of a panel, drawn from a seed.

    Parameters
    ----------
    kind : str                     One of `kit.science.serving_orders.KINDS`.
    letters, assessors : sequence of str
    seed : int

    Raises
    ------
    KitError   `panel.kind`, `panel.samples`, `panel.assessors`, `panel.codes`.
    """
    orders = serving_orders(kind, letters, len(assessors), seed)
    coded = [len(order) - (kind == DUO_TRIO) for order in orders]
    codes = blind_codes(coded, seed)
    return tuple(Serving(*parts) for parts in zip(assessors, orders, codes, strict=True))
