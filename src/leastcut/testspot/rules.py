"""What the shop asks for and what things are worth to it. All of it settable."""

import msgspec


class Prices(msgspec.Struct, frozen=True, kw_only=True):
    """What things are worth, in minutes of work. Ours, no source: argue with them.

    Attributes
    ----------
    um_min : float
        One µm of clear coat over the car.
    miss_min : float
        A car that does not meet the target: brought back, looked over, and most of it done again.
    spot_min, look_min, set_min : float
        A fresh spot (tape, wipe, photo before), one look at it (wipe bare, photo after, think),
        and one set on it.
    """

    um_min: float = 160.0
    miss_min: float = 1000.0
    spot_min: float = 40.0
    look_min: float = 3.0
    set_min: float = 2.0


class Rules(msgspec.Struct, frozen=True, kw_only=True):
    """The chances that the shop asks for.

    Attributes
    ----------
    p_target : float
        Least chance to meet the target on the car before a process is used.
    p_within_budget : float
        Least chance that a proposed cut stays within the budget.
    p_fair : float
        A rung whose best affordable number of sets has at least this chance is not jumped over.
    p_accept : float or None
        Least chance to meet the target that the person accepts where nothing that the budget can
        pay is proven; None accepts nothing less than `p_target`.
    max_trials : int
        Looks after which the spot is left as it is: one after every set.
    prices : Prices
        What a µm, a miss and a trial are worth.
    """

    p_target: float = 0.9
    p_within_budget: float = 0.99
    p_fair: float = 0.25
    p_accept: float | None = None
    max_trials: int = 14
    prices: Prices = Prices()
