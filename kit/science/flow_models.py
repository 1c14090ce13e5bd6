"""Models of steady flow: shear stress against shear rate, with their parameters, units, bounds and derivatives.

Every function takes many curves at once: rates of shape (c, n), parameters of shape (c, p), and gives stresses and
their derivatives, (c, n) and (c, n, p). Stress in Pa, rate in 1/s, viscosity in Pa·s.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

PLAIN, LOGARITHM, ROOT = "plain", "logarithm", "root"

Values = tuple[np.ndarray, np.ndarray]

# How far outside the measured rates a characteristic rate or time is looked for.
WINDOW = 1e3


@dataclass(frozen=True, slots=True)
class FlowParameter:
    """One parameter of a flow model.

    Parameters
    ----------
    name : str      Such as "yield_stress_pa".
    label : str     As it is read: "yield value".
    symbol : str    As it is written in the equation.
    unit : str
    lower, upper : float   Bounds; of a time or a rate in units of the measured window, see `span`.
    fitted_as : str   PLAIN, LOGARITHM for what is positive, ROOT for what may be zero and stands under a root.
    span : int        1 for a time (bounds from 1/1000 of the shortest to 1000 times the longest that the rates reach),
                      -1 for a rate likewise, 0 for what has bounds of its own.
    """

    name: str
    label: str
    symbol: str
    unit: str
    lower: float = 0.0
    upper: float = np.inf
    fitted_as: str = PLAIN
    span: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class FlowModel:
    """A flow model: stress as a function of rate, and how it is started.

    Parameters
    ----------
    key : str        Such as "herschel_bulkley".
    name : str       As it is read.
    equation : str   With the symbols of the parameters.
    parameters : tuple of FlowParameter
    evaluate : callable   (rates, parameters) -> stresses and derivatives.
    shapes : callable     (rates, curve) -> the one or two curves of which the stress is a sum, for given shapes.
    assemble : callable   (curve, amounts) -> parameters from shape parameters and the amounts of those curves.
    grid : array, (g, q)  Shape parameters to try first. [-]
    source : str          Where the model was published.
    placed : bool         Whether the first shape parameter is a rate; the grid then gives its place between the slowest
                          measured rate, 0, and the fastest, 1.
    """

    key: str
    name: str
    equation: str
    parameters: tuple[FlowParameter, ...]
    evaluate: Callable[[np.ndarray, np.ndarray], Values]
    shapes: Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, ...]]
    assemble: Callable[[np.ndarray, np.ndarray], np.ndarray]
    grid: np.ndarray
    source: str
    placed: bool = False

    def __repr__(self) -> str:
        return f"FlowModel({self.key})"

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the parameters, in order."""
        return tuple(parameter.name for parameter in self.parameters)

    @property
    def has_yield(self) -> bool:
        """Whether the model has a yield value."""
        return "yield_stress_pa" in self.names

    def stress_pa(self, shear_rate_per_s, parameters):
        """Stress at some rates.

        Parameters
        ----------
        shear_rate_per_s : float or array, (n,)   [1/s]
        parameters : mapping or sequence          One value a parameter, by name or in order.

        Returns
        -------
        float or array   [Pa]
        """
        values = [parameters[name] for name in self.names] if hasattr(parameters, "keys") else list(parameters)
        rates = np.atleast_1d(np.asarray(shear_rate_per_s, dtype=float))
        stress = self.evaluate(rates[None, :], np.array([values], dtype=float))[0][0]
        return stress if np.ndim(shear_rate_per_s) else float(stress[0])

    def viscosity_pa_s(self, shear_rate_per_s, parameters):
        """Viscosity, stress over rate, at some rates.

        Parameters
        ----------
        shear_rate_per_s : float or array, (n,)   [1/s]
        parameters : mapping or sequence          One value a parameter, by name or in order.

        Returns
        -------
        float or array   [Pa·s]
        """
        return self.stress_pa(shear_rate_per_s, parameters) / shear_rate_per_s

    def shape_grid(self, slowest_per_s: np.ndarray, fastest_per_s: np.ndarray) -> np.ndarray:
        """Shape parameters to try first, for curves measured between two rates.

        Parameters
        ----------
        slowest_per_s, fastest_per_s : array, (c,)   [1/s]

        Returns
        -------
        array, (c, g, q)
        """
        grid = np.broadcast_to(self.grid, (slowest_per_s.size, *self.grid.shape)).copy()
        if self.placed:
            grid[..., 0] = slowest_per_s[:, None] * (fastest_per_s / slowest_per_s)[:, None] ** grid[..., 0]
        return grid

    def bounds(self, slowest_per_s: np.ndarray, fastest_per_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Lowest and highest value of each parameter for curves measured between two rates.

        Parameters
        ----------
        slowest_per_s, fastest_per_s : array, (c,)   [1/s]

        Returns
        -------
        tuple of array, (c, p)
        """
        ends = [_ends(parameter, slowest_per_s, fastest_per_s) for parameter in self.parameters]
        return np.stack([low for low, _ in ends], axis=1), np.stack([high for _, high in ends], axis=1)


def _ends(parameter: FlowParameter, slowest: np.ndarray, fastest: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    if parameter.span == 1:
        return 1 / (WINDOW * fastest), WINDOW / slowest
    if parameter.span == -1:
        return slowest / WINDOW, WINDOW * fastest
    return np.full_like(slowest, parameter.lower), np.full_like(slowest, parameter.upper)


def _columns(parameters: np.ndarray) -> list[np.ndarray]:
    """Each parameter as a column that goes with rates of shape (c, n)."""
    return [parameters[:, index, None] for index in range(parameters.shape[1])]


def _newtonian(rates: np.ndarray, parameters: np.ndarray) -> Values:
    (viscosity,) = _columns(parameters)
    return viscosity * rates, rates[..., None]


def _bingham(rates: np.ndarray, parameters: np.ndarray) -> Values:
    yields, viscosity = _columns(parameters)
    return yields + viscosity * rates, np.stack([np.ones_like(rates), rates], axis=-1)


def _power_law(rates: np.ndarray, parameters: np.ndarray) -> Values:
    consistency, index = _columns(parameters)
    power = rates**index
    return consistency * power, np.stack([power, consistency * power * np.log(rates)], axis=-1)


def _herschel_bulkley(rates: np.ndarray, parameters: np.ndarray) -> Values:
    yields, consistency, index = _columns(parameters)
    power = rates**index
    rising = consistency * power
    return yields + rising, np.stack([np.ones_like(rates), power, rising * np.log(rates)], axis=-1)


def _casson(rates: np.ndarray, parameters: np.ndarray) -> Values:
    yields, viscosity = _columns(parameters)
    still, flowing = np.sqrt(yields), np.sqrt(viscosity * rates)
    both = still + flowing
    by_yield = np.divide(both, still, out=np.full_like(both, np.inf), where=still > 0)
    return both**2, np.stack([by_yield, both * np.sqrt(rates / viscosity)], axis=-1)


def _cross(rates: np.ndarray, parameters: np.ndarray) -> Values:
    rest, infinite, time, index = _columns(parameters)
    reduced = time * rates
    power = reduced**index
    share = 1 / (1 + power)
    fall = (rest - infinite) * rates * share * share * power
    derivatives = [rates * share, rates * (1 - share), -fall * index / time, -fall * np.log(reduced)]
    return rates * (infinite + (rest - infinite) * share), np.stack(derivatives, axis=-1)


def _carreau(rates: np.ndarray, parameters: np.ndarray) -> Values:
    rest, infinite, time, index = _columns(parameters)
    square = (time * rates) ** 2
    logarithm = np.log1p(square)
    share = np.exp((index - 1) / 2 * logarithm)
    height = (rest - infinite) * rates * share
    by_time = height * (index - 1) * square / (1 + square) / time
    derivatives = [rates * share, rates * (1 - share), by_time, height * logarithm / 2]
    return rates * infinite + height, np.stack(derivatives, axis=-1)


def _three_component(rates: np.ndarray, parameters: np.ndarray) -> Values:
    yields, critical, viscosity = _columns(parameters)
    root = np.sqrt(rates / critical)
    derivatives = [1 + root, -yields * root / (2 * critical), rates]
    return yields * (1 + root) + viscosity * rates, np.stack(derivatives, axis=-1)


def _stack(*columns: np.ndarray) -> np.ndarray:
    return np.stack(np.broadcast_arrays(*columns), axis=-1)


_INDICES = np.array([0.05, 0.12, 0.2, 0.28, 0.36, 0.45, 0.55, 0.65, 0.8, 1.0, 1.25, 1.6])[:, None]


def _pairs(places: np.ndarray, indices: tuple[float, ...]) -> np.ndarray:
    return np.array([(place, index) for place in places for index in indices])


_YIELD = FlowParameter("yield_stress_pa", "yield value", "τ_y", "Pa")
_CONSISTENCY = FlowParameter("consistency_pa_s_n", "consistency", "K", "Pa·s^n", fitted_as=LOGARITHM)
_INDEX = FlowParameter("flow_index", "flow index", "n", "-", 0.01, 2.0)
_PLASTIC = FlowParameter("plastic_viscosity_pa_s", "plastic viscosity", "η_p", "Pa·s", fitted_as=LOGARITHM)
_AT_REST = FlowParameter("zero_shear_viscosity_pa_s", "viscosity at rest", "η_0", "Pa·s", fitted_as=LOGARITHM)
_AT_SPEED = FlowParameter("infinite_shear_viscosity_pa_s", "viscosity at high rates", "η_∞", "Pa·s")
_TIME = FlowParameter("time_constant_s", "time constant", "λ", "s", fitted_as=LOGARITHM, span=1)

NEWTONIAN = FlowModel(
    "newtonian",
    "Newtonian",
    "τ = η·γ̇",
    (FlowParameter("viscosity_pa_s", "viscosity", "η", "Pa·s", fitted_as=LOGARITHM),),
    _newtonian,
    lambda rates, curve: (rates,),
    lambda curve, amounts: amounts[..., :1],
    np.zeros((1, 0)),
    "Newton (1687), Principia, book II section IX",
)
BINGHAM = FlowModel(
    "bingham",
    "Bingham",
    "τ = τ_y + η_p·γ̇",
    (_YIELD, _PLASTIC),
    _bingham,
    lambda rates, curve: (np.ones_like(rates), rates),
    lambda curve, amounts: amounts,
    np.zeros((1, 0)),
    "Bingham (1916), Bull. Bur. Stand. 13:309",
)
POWER_LAW = FlowModel(
    "power_law",
    "power law",
    "τ = K·γ̇^n",
    (_CONSISTENCY, _INDEX),
    _power_law,
    lambda rates, curve: (rates ** curve[..., 0:1],),
    lambda curve, amounts: _stack(amounts[..., 0], curve[..., 0]),
    _INDICES,
    "de Waele (1923), Oil Color Chem. Assoc. J. 6:33; Ostwald (1925), Kolloid-Z. 36:99",
)
HERSCHEL_BULKLEY = FlowModel(
    "herschel_bulkley",
    "Herschel-Bulkley",
    "τ = τ_y + K·γ̇^n",
    (_YIELD, _CONSISTENCY, _INDEX),
    _herschel_bulkley,
    lambda rates, curve: (np.ones_like(rates), rates ** curve[..., 0:1]),
    lambda curve, amounts: _stack(amounts[..., 0], amounts[..., 1], curve[..., 0]),
    _INDICES,
    "Herschel, Bulkley (1926), Kolloid-Z. 39:291",
)
CASSON = FlowModel(
    "casson",
    "Casson",
    "√τ = √τ_y + √(η_c·γ̇)",
    (
        FlowParameter("yield_stress_pa", "yield value", "τ_y", "Pa", fitted_as=ROOT),
        FlowParameter("casson_viscosity_pa_s", "Casson viscosity", "η_c", "Pa·s", fitted_as=ROOT),
    ),
    _casson,
    # the shape parameter is the rate at which both terms are equal
    lambda rates, curve: ((1 + np.sqrt(rates / curve[..., 0:1])) ** 2,),
    lambda curve, amounts: _stack(amounts[..., 0], amounts[..., 0] / curve[..., 0]),
    np.linspace(-0.5, 1.5, 13)[:, None],
    "Casson (1959), in Mill (ed.), Rheology of Disperse Systems, p. 84",
    placed=True,
)
CROSS = FlowModel(
    "cross",
    "Cross",
    "η = η_∞ + (η_0 - η_∞)/(1 + (λ·γ̇)^m)",
    (_AT_REST, _AT_SPEED, _TIME, FlowParameter("cross_index", "exponent", "m", "-", 0.01, 2.0)),
    _cross,
    lambda rates, curve: (rates, rates / (1 + (rates / curve[..., 0:1]) ** curve[..., 1:2])),
    lambda curve, amounts: _stack(amounts[..., 0] + amounts[..., 1], amounts[..., 0], 1 / curve[..., 0], curve[..., 1]),
    _pairs(np.linspace(-0.25, 1.0, 10), (0.3, 0.5, 0.7, 0.85, 1.1)),
    "Cross (1965), J. Colloid Sci. 20:417",
    placed=True,
)
CARREAU = FlowModel(
    "carreau",
    "Carreau",
    "η = η_∞ + (η_0 - η_∞)·(1 + (λ·γ̇)²)^((n-1)/2)",
    (_AT_REST, _AT_SPEED, _TIME, FlowParameter("flow_index", "flow index", "n", "-", 0.0, 1.0)),
    _carreau,
    lambda rates, curve: (
        rates,
        rates * (1 + (rates / curve[..., 0:1]) ** 2) ** ((curve[..., 1:2] - 1) / 2),
    ),
    lambda curve, amounts: _stack(amounts[..., 0] + amounts[..., 1], amounts[..., 0], 1 / curve[..., 0], curve[..., 1]),
    _pairs(np.linspace(-0.25, 1.0, 10), (0.05, 0.2, 0.35, 0.5, 0.7)),
    "Carreau (1972), Trans. Soc. Rheol. 16:99",
    placed=True,
)
THREE_COMPONENT = FlowModel(
    "three_component",
    "three components",
    "τ = τ_y + τ_y·√(γ̇/γ̇_c) + η_bg·γ̇",
    (
        _YIELD,
        FlowParameter("critical_rate_per_s", "critical rate", "γ̇_c", "1/s", fitted_as=LOGARITHM, span=-1),
        FlowParameter("background_viscosity_pa_s", "background viscosity", "η_bg", "Pa·s"),
    ),
    _three_component,
    lambda rates, curve: (1 + np.sqrt(rates / curve[..., 0:1]), rates),
    lambda curve, amounts: _stack(amounts[..., 0], curve[..., 0], amounts[..., 1]),
    np.linspace(-0.5, 1.5, 13)[:, None],
    "Caggioni, Trappe, Spicer (2020), J. Rheol. 64:413",
    placed=True,
)

MODELS = (NEWTONIAN, BINGHAM, POWER_LAW, HERSCHEL_BULKLEY, CASSON, CROSS, CARREAU, THREE_COMPONENT)
"""All models, by number of parameters within a kind."""

BY_KEY = {model.key: model for model in MODELS}
"""The models by their keys."""
