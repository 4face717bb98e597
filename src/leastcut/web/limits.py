"""How often: buckets that refill at a steady rate, one for each device or address."""

from collections import OrderedDict
from collections.abc import Callable
from threading import Lock

MOST_BUCKETS = 10_000


class Buckets:
    """Buckets of tokens by name; the least used are forgotten, so memory stays flat.

    Parameters
    ----------
    per_s, burst : float
        Tokens that come back each second; tokens in a full bucket.
    clock : callable
        Seconds that only ever grow.

    Examples
    --------
    >>> now = [0.0]
    >>> buckets = Buckets(1.0, 2.0, clock=lambda: now[0])
    >>> [buckets.wait_s("a") for _ in range(3)]
    [0.0, 0.0, 1.0]
    >>> now[0] = 1.0
    >>> buckets.wait_s("a")
    0.0
    """

    def __init__(self, per_s: float, burst: float, *, clock: Callable[[], float]) -> None:
        self._per_s, self._burst, self._clock = per_s, burst, clock
        self._levels: OrderedDict[str, tuple[float, float]] = OrderedDict()
        self._turn = Lock()

    def wait_s(self, name: str, *, cost: float = 1.0) -> float:
        """Take tokens and return 0, or take none and return the time until there are enough [s].

        Parameters
        ----------
        name : str
            Whose bucket.
        cost : float
            Tokens to take.
        """
        now = self._clock()
        with self._turn:
            level, last = self._levels.pop(name, (self._burst, now))
            level = min(self._burst, level + (now - last) * self._per_s)
            enough = level >= cost
            self._levels[name] = (level - cost if enough else level, now)
            while len(self._levels) > MOST_BUCKETS:
                self._levels.popitem(last=False)
        return 0.0 if enough else (cost - level) / self._per_s
