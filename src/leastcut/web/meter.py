"""Counts and times of requests, told in the OpenMetrics text format."""

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from threading import Lock

# Upper bounds [s]; the last bucket of a histogram has none.
BOUNDS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)
MEDIA = "application/openmetrics-text; version=1.0.0; charset=utf-8"
MOST_LABELS = 400
_ESCAPES = {"\\": r"\\", '"': r"\"", "\n": r"\n"}

Gauge = tuple[str, str, float]


def escaped(value: str) -> str:
    r"""Return a label's value as the format writes it.

    >>> escaped('a"b')
    'a\\"b'
    """
    return re.sub(r'[\\"\n]', lambda found: _ESCAPES[found[0]], value)


def number(value: float) -> str:
    """Return a number as the format writes it.

    >>> number(3.0), number(0.25)
    ('3', '0.25')
    """
    return str(int(value)) if value == int(value) else repr(value)


class Meter:
    """What the door counts; safe from several threads, of a fixed size.

    Parameters
    ----------
    started_s : float
        When the workbench began [Unix s].
    """

    def __init__(self, *, started_s: float) -> None:
        self._started_s = started_s
        self._turn = Lock()
        self._requests: Counter[tuple[str, str, int]] = Counter()
        self._buckets: dict[str, list[int]] = {}
        self._sums: Counter[str] = Counter()
        self._events: Counter[str] = Counter()
        self.now_open = 0

    def request(self, method: str, route: str, status: int, seconds: float) -> None:
        """Count an answered request and how long it took [s]."""
        with self._turn:
            if route not in self._buckets and len(self._buckets) >= MOST_LABELS:
                route = "other"
            self._requests[method, route, status] += 1
            buckets = self._buckets.setdefault(route, [0] * (len(BOUNDS) + 1))
            buckets[sum(seconds > bound for bound in BOUNDS)] += 1
            self._sums[route] += seconds  # type: ignore[assignment]

    def event(self, what: str) -> None:
        """Count something that happened, for example ``limited``."""
        with self._turn:
            self._events[what] += 1

    def text(self, gauges: Sequence[Gauge] = ()) -> str:
        """Return everything in the OpenMetrics text format, with gauges (name, help, value)."""
        with self._turn:
            lines = [*self._counts(), *self._times(), *self._happened()]
        more = [
            ("leastcut_requests_open", "Requests being answered.", float(self.now_open)),
            ("leastcut_start_time_seconds", "When the workbench began.", self._started_s),
            *gauges,
        ]
        for name, told, value in more:
            lines += [f"# TYPE {name} gauge", f"# HELP {name} {told}", f"{name} {number(value)}"]
        return "\n".join([*lines, "# EOF", ""])

    def _counts(self) -> Iterator[str]:
        name = "leastcut_requests"
        yield f"# TYPE {name} counter"
        yield f"# HELP {name} Requests answered."
        for (method, route, status), n in sorted(self._requests.items()):
            labels = f'method="{escaped(method)}",route="{escaped(route)}",status="{status}"'
            yield f"{name}_total{{{labels}}} {n}"

    def _times(self) -> Iterator[str]:
        name = "leastcut_request_seconds"
        yield f"# TYPE {name} histogram"
        yield f"# UNIT {name} seconds"
        yield f"# HELP {name} Time from a request's head to the end of its answer."
        for route, buckets in sorted(self._buckets.items()):
            label, n = f'route="{escaped(route)}"', 0
            for bound, count in zip([*map(str, BOUNDS), "+Inf"], buckets, strict=True):
                n += count
                yield f'{name}_bucket{{{label},le="{bound}"}} {n}'
            yield f"{name}_count{{{label}}} {n}"
            yield f"{name}_sum{{{label}}} {number(self._sums[route])}"

    def _happened(self) -> Iterator[str]:
        name = "leastcut_events"
        yield f"# TYPE {name} counter"
        yield f"# HELP {name} Things that happened at the door."
        for what, n in sorted(self._events.items()):
            yield f'{name}_total{{what="{escaped(what)}"}} {n}'
