"""Which panels tell about each other: the mate on the other side, and the neighbours.

The two sides of a body are painted by mirrored movements, so a panel and its mate share a part of
their deviation from the car. Damage and its repair spread to what stands beside. Both are common
practice, no source; panels are recognised by the words of their ids.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from leastcut.car.records import Panel

# Each row: pieces that touch, in the words of panel ids without their side.
_ALONG_SIDE = (
    ("bumper-front", "wing-front"),
    ("bonnet", "wing-front"),
    ("bonnet", "bumper-front"),
    ("wing-front", "door-front"),
    ("wing-front", "sill"),
    ("door-front", "pillar-a"),
    ("door-front", "door-rear"),
    ("door-front", "sill"),
    ("door-rear", "sill"),
    ("door-rear", "quarter"),
    ("door-rear", "pillar-c"),
    ("door-front", "quarter"),
    ("door-front", "pillar-c"),
    ("pillar-c", "bed"),
    ("pillar-a", "roof"),
    ("roof", "quarter"),
    ("roof", "tailgate"),
    ("quarter", "boot-lid"),
    ("quarter", "tailgate"),
    ("quarter", "bumper-rear"),
    ("bed", "tailgate"),
    ("bed", "bumper-rear"),
    ("boot-lid", "bumper-rear"),
    ("tailgate", "bumper-rear"),
)
_TOUCHING = frozenset(frozenset(pair) for pair in _ALONG_SIDE)


def _piece(panel: Panel) -> str:
    """Return the id without its side: ``door-front-left`` is a ``door-front``."""
    return "-".join(word for word in panel.id.split("-") if word not in ("left", "right"))


def mate_groups(panels: Sequence[Panel]) -> NDArray[np.intp]:
    """Give a panel and its mate on the other side the same number.

    Parameters
    ----------
    panels : sequence of Panel
        All panels of the car.

    Returns
    -------
    ndarray of int, shape (n,)
        Group of each panel; a panel without a mate has a group of its own.
    """
    seen: dict[tuple[str, str], int] = {}
    groups = []
    for i, panel in enumerate(panels):
        sided = panel.side in ("left", "right")
        key = (_piece(panel), "pair") if sided else (panel.id, str(i))
        groups.append(seen.setdefault(key, len(seen)))
    return np.array(groups, dtype=np.intp)


def neighbours(panels: Sequence[Panel]) -> NDArray[np.float64]:
    """Return which panels stand beside each other.

    Parameters
    ----------
    panels : sequence of Panel
        All panels of the car.

    Returns
    -------
    ndarray, shape (n, n)
        1 where two panels touch, else 0; symmetric, zero diagonal.
    """
    pieces = [_piece(panel) for panel in panels]
    touch = np.zeros((len(panels), len(panels)))
    for i, a in enumerate(panels):
        for j, b in enumerate(panels):
            sides = {a.side, b.side}
            if frozenset((pieces[i], pieces[j])) in _TOUCHING and sides != {"left", "right"}:
                touch[i, j] = 1.0
    return touch
