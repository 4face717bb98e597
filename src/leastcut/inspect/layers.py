"""What is believed of paint layers before the gauge speaks: ranges, states, and where they come from.

Every number here is editable by passing another :class:`LayerPrior`.

Layer ranges: typical film builds as usually quoted from Streitberger & Dössel, *Automotive Paints
and Coatings* (2nd ed. 2008) and Akafuah et al. 2016, Coatings 6(2):24. status: memory, not
confirmed page by page. Chances and sizes of repaint, filler and thinned paint: our own assumption,
common practice, no source.
"""

from typing import Literal, get_args

import msgspec

from leastcut.car.records import PaintHistory
from leastcut.errors import InputError
from leastcut.inspect.readings import MOST_CLEAR_UM

PaintState = Literal["factory", "repainted", "filled", "thin"]
STATES: tuple[PaintState, ...] = get_args(PaintState)


class LayerError(InputError):
    """A range of film that cannot be."""


class LayerRange(msgspec.Struct, frozen=True, kw_only=True):
    """The range that holds 95 % of places on factory paint [µm], and who says so."""

    name: str
    low_um: float
    high_um: float
    source: str = "from memory of Streitberger & Dössel 2008, not confirmed"

    @property
    def mean_um(self) -> float:
        """Middle of the range."""
        return (self.low_um + self.high_um) / 2

    @property
    def var_um2(self) -> float:
        """Variance, the range being ± 1.96 standard deviations of a normal distribution."""
        return ((self.high_um - self.low_um) / (2 * 1.959963984540054)) ** 2


UNDER = (
    LayerRange(name="conversion layer", low_um=1.0, high_um=3.0),
    LayerRange(name="e-coat", low_um=17.0, high_um=25.0),
    LayerRange(name="primer surfacer", low_um=25.0, high_um=40.0),
    LayerRange(name="base coat", low_um=12.0, high_um=25.0),
)
CLEAR = LayerRange(name="clear coat", low_um=35.0, high_um=50.0)
TOTAL = LayerRange(name="total on metal", low_um=90.0, high_um=140.0)

_CHANCES: dict[PaintHistory, tuple[float, float, float, float]] = {
    "factory": (0.9755, 0.020, 0.002, 0.0025),
    "unknown": (0.905, 0.080, 0.010, 0.005),
    "repainted": (0.330, 0.620, 0.040, 0.010),
}


class LayerPrior(msgspec.Struct, frozen=True, kw_only=True):
    """Belief about a car's paint before any reading; lengths in µm, variances in µm².

    Attributes
    ----------
    clear, total : LayerRange
        Film builds of factory paint.
    under : tuple of LayerRange
        Layers below the clear.
    share_car, share_panel, share_place : float
        How the variance of a layer splits into car to car, panel to panel of one car, and place to
        place on one panel. Our assumption.
    chances : tuple of float
        Probability that a panel is factory, repainted, filled, thin.
    past_chance, past_cut_um, past_cut_sd_um : float
        Probability that the car was polished before without a record, and what that took.
    past_panel_sd_um : float
        How much that loss differs from panel to panel.
    added_um, added_sd_um : float
        Film added by a repaint over the old paint.
    repaint_clear_um, repaint_clear_sd_um, fill_clear_sd_um : float
        Clear coat of a repaint, after its own flatting and polishing; over filler less is known.
    fill_log_um, fill_log_sd : float
        Natural logarithm of the film that filler adds (µm), and its standard deviation.
    thin_cut_um, thin_cut_sd_um : float
        Clear lost on a panel that was sanded or polished hard.
    repaint_place_sd_um : float
        Clear from place to place on a panel sprayed by hand.
    mate_share : float
        Part of a panel's variance about its car that it shares with its mate on the other side.
    neighbour_pull : float
        How much a redone neighbour raises the log odds of having been redone too.
    """

    clear: LayerRange = CLEAR
    total: LayerRange = TOTAL
    under: tuple[LayerRange, ...] = UNDER
    share_car: float = 0.60
    share_panel: float = 0.25
    share_place: float = 0.15
    chances: tuple[float, float, float, float] = _CHANCES["unknown"]
    past_chance: float = 0.5
    past_cut_um: float = 2.4
    past_cut_sd_um: float = 1.8
    past_panel_sd_um: float = 0.8
    added_um: float = 85.0
    added_sd_um: float = 35.0
    repaint_clear_um: float = 48.0
    repaint_clear_sd_um: float = 9.0
    fill_clear_sd_um: float = 14.0
    fill_log_um: float = 6.1
    fill_log_sd: float = 0.7
    thin_cut_um: float = 15.0
    thin_cut_sd_um: float = 6.0
    repaint_place_sd_um: float = 3.0
    mate_share: float = 0.5
    neighbour_pull: float = 0.7

    @property
    def past_mean_um(self) -> float:
        """Unrecorded past cut, polished or not."""
        return self.past_chance * self.past_cut_um

    @property
    def past_var(self) -> float:
        """Variance of the unrecorded past cut, polished or not."""
        square = self.past_chance * (self.past_cut_sd_um**2 + self.past_cut_um**2)
        return square - self.past_mean_um**2

    @property
    def clear_mean_um(self) -> float:
        """Clear coat of factory paint today, unrecorded past cuts taken off."""
        return self.clear.mean_um - self.past_mean_um

    @property
    def clear_car_var(self) -> float:
        """Variance of a car's clear level."""
        return self.share_car * self.clear.var_um2 + self.past_var

    @property
    def clear_panel_var(self) -> float:
        """Variance of a panel's clear about its car's level."""
        return self.share_panel * self.clear.var_um2 + self.past_panel_sd_um**2

    @property
    def clear_place_sd(self) -> float:
        """Standard deviation of the clear from place to place on one panel."""
        return float((self.share_place * self.clear.var_um2) ** 0.5)

    @property
    def total_mean_um(self) -> float:
        """Total film of factory paint today."""
        return self.total.mean_um - self.past_mean_um

    @property
    def layers_var(self) -> float:
        """Variance of the sum of the layers, taken as independent."""
        return self.clear.var_um2 + sum(layer.var_um2 for layer in self.under)

    @property
    def total_car_var(self) -> float:
        """Variance of a car's total level; what the layers do not explain is a car's own build."""
        spare = max(0.0, self.total.var_um2 - self.layers_var)
        return self.share_car * self.layers_var + spare + self.past_var

    @property
    def total_panel_var(self) -> float:
        """Variance of a panel's total about its car's level."""
        return self.share_panel * self.layers_var + self.past_panel_sd_um**2

    @property
    def total_place_var(self) -> float:
        """Variance of the total from place to place on one panel."""
        return self.share_place * self.layers_var


DEFAULT_PRIOR = LayerPrior()


def prior_for(history: PaintHistory, base: LayerPrior = DEFAULT_PRIOR) -> LayerPrior:
    """Return the belief for a known or unknown paint history.

    Examples
    --------
    >>> prior_for("factory").chances[0] > prior_for("unknown").chances[0]
    True
    """
    return msgspec.structs.replace(base, chances=_CHANCES[history])


def place_sds(prior: LayerPrior) -> tuple[float, float, float, float]:
    """Return the clear's spread from place to place in each state [µm]."""
    factory, hand = prior.clear_place_sd, prior.repaint_place_sd_um
    return factory, hand, hand, factory


def with_clear(prior: LayerPrior, low_um: float, high_um: float, *, source: str) -> LayerPrior:
    """Return the belief with another range for factory clear coat, such as the maker's own.

    Parameters
    ----------
    prior : LayerPrior
        Belief to change.
    low_um, high_um : float
        Range that holds 95 % of places [µm].
    source : str
        Who says so.

    Raises
    ------
    LayerError
        If the range is empty, negative or beyond belief.

    Examples
    --------
    >>> with_clear(DEFAULT_PRIOR, 30.0, 45.0, source="data sheet").clear.mean_um
    37.5
    """
    if not 0 < low_um < high_um <= MOST_CLEAR_UM:
        raise LayerError(
            f"{low_um:g} to {high_um:g} µm is no range of clear coat",
            where="clear coat range",
            do=f"Give the lower and the upper end in µm, up to {MOST_CLEAR_UM:g}",
        )
    clear = LayerRange(name=prior.clear.name, low_um=low_um, high_um=high_um, source=source)
    return msgspec.structs.replace(prior, clear=clear)
