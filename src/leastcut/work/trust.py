"""Doubt the way: was it one pad that was followed, and was it really seen.

The tracker always finds the most pad-like place. Whether that was the pad shows in what it does not
use: a pad moves no faster than an arm, keeps its size, shows its round rim, works inside the
square, and nothing else in the picture looks more like it.
"""

from dataclasses import replace

import numpy as np

from leastcut.errors import Refusal
from leastcut.inspect.arrays import F64, Bools, Ints
from leastcut.work.follow import Track

ARM_MM_S = 1000.0  # no arm works faster (common practice, no source)
SLACK_MM = 18.0
MOST_DROPPED = 0.05
LEAST_RIM = 0.45
MOST_ELSEWHERE = 0.1
LEAST_LOOKS = 4
SIZES_AGREE = 0.2
STEADY = 0.08
MOST_OUTSIDE = 0.5


def sifted(track: Track) -> tuple[Track, float]:
    """Leave out places that no arm could have reached; return the rest and the share left out.

    The track is cut where it jumps; the longest piece is believed, and of the others those that an
    arm can reach from what is believed already.

    Parameters
    ----------
    track : Track
        What was seen.

    Returns
    -------
    tuple of Track and float
        The track with such places as unseen; their share of what was seen.
    """
    rows = np.flatnonzero(np.isfinite(track.x_mm))
    if len(rows) < 2:
        return track, 0.0
    at = np.column_stack([track.t_s, track.x_mm, track.y_mm])[rows]
    cuts = np.flatnonzero(~_reached(at[:-1], at[1:])) + 1
    runs = np.split(np.arange(len(rows)), cuts)
    dropped = ~_believed(at, runs)
    gone = np.zeros(len(track.t_s), bool)
    gone[rows[dropped]] = True
    track = replace(
        track,
        x_mm=np.where(gone, np.nan, track.x_mm),
        y_mm=np.where(gone, np.nan, track.y_mm),
        radius_mm=np.where(gone, np.nan, track.radius_mm),
        sd_mm=np.where(gone, np.nan, track.sd_mm),
        filled=np.where(gone, np.nan, track.filled),
    )
    return track, float(dropped.mean())


def _reached(one: F64, other: F64) -> Bools:
    """Tell whether an arm gets from place to place (n, 3) [s, mm, mm] in time."""
    away = np.hypot(*(other - one).T[1:])
    return np.asarray(away <= SLACK_MM + ARM_MM_S * np.abs(other[:, 0] - one[:, 0]))


def _believed(at: F64, runs: list[Ints]) -> Bools:
    main = int(np.argmax([len(run) for run in runs]))
    kept = np.zeros(len(at), bool)
    kept[runs[main]] = True
    last = at[runs[main][-1]]
    for run in runs[main + 1 :]:
        if _reached(last[None], at[run[:1]])[0]:
            kept[run], last = True, at[run[-1]]
    first = at[runs[main][0]]
    for run in reversed(runs[:main]):
        if _reached(at[run[-1:]], first[None])[0]:
            kept[run], first = True, at[run[0]]
    return kept


def doubt(track: Track, dropped: float, side_mm: float) -> Refusal | None:
    """Return why a sifted track is not to be trusted, or None.

    Parameters
    ----------
    track : Track
        As :func:`sifted` returns it.
    dropped : float
        Share of the places that were left out.
    side_mm : float
        Inner side of the square [mm].
    """
    seen = np.isfinite(track.x_mm)
    if not seen.any():
        return None  # nothing to doubt: too little was seen, which is said elsewhere
    return (
        _jumps(dropped)
        or _rival(track)
        or _rimless(track, seen)
        or _odd_size(track)
        or _outside(track, seen, side_mm)
    )


def _jumps(dropped: float) -> Refusal | None:
    if dropped <= MOST_DROPPED:
        return None
    return Refusal(
        why=f"what was followed leaps: {dropped:.0%} of its places no arm could have reached",
        do="Keep other things of the pad's colour out of the picture, or click the pad (--pad-at X,Y)",
    )


def _rival(track: Track) -> Refusal | None:
    looks = track.elsewhere_mm[np.isfinite(track.elsewhere_mm)]
    share = float((looks > track.pad_radius_mm).mean()) if len(looks) >= LEAST_LOOKS else 0.0
    if share <= MOST_ELSEWHERE:
        return None
    return Refusal(
        why=f"in {share:.0%} of the looks something else in the picture is as much like the pad",
        do="Keep other things of the pad's colour out of the picture, or click the pad (--pad-at X,Y)",
    )


def _rimless(track: Track, seen: Bools) -> Refusal | None:
    share = float(np.isfinite(track.radius_mm[seen]).mean())
    if share >= LEAST_RIM:
        return None
    return Refusal(
        why=f"the pad's round rim was seen in only {share:.0%} of the frames that show it",
        do="Use a pad that differs from paint and machine, and film so that its rim shows",
    )


def _odd_size(track: Track) -> Refusal | None:
    """Doubt a thing whose size is not the one learnt, or does not stay."""
    sizes = track.radius_mm[np.isfinite(track.radius_mm)]
    middle = float(np.median(sizes))
    if abs(middle / track.learnt_radius_mm - 1) > SIZES_AGREE:
        return Refusal(
            why=f"the pad looks {2 * middle:.0f} mm wide where {2 * track.learnt_radius_mm:.0f} mm was expected",
            do="Check the square's side and the pad's diameter as typed, or click the pad (--pad-at X,Y)",
        )
    spread = 1.4826 * float(np.median(np.abs(sizes - middle))) / middle
    if spread > STEADY:
        return Refusal(
            why=f"what was followed changes its size by {spread:.0%}",
            do="Hold the pad flat, camera straight above; click the pad if something else was followed",
        )
    return None


def _outside(track: Track, seen: Bools, side_mm: float) -> Refusal | None:
    away = [np.abs(v[seen] - side_mm / 2) - side_mm / 2 for v in (track.x_mm, track.y_mm)]
    share = float((np.maximum(*away) > track.pad_radius_mm).mean())
    if share <= MOST_OUTSIDE:
        return None
    return Refusal(
        why=f"what was followed was outside the taped square for {share:.0%} of the time",
        do="Tape the square round the section that is worked, or click the pad (--pad-at X,Y)",
    )
