"""Follow the pad through a video, frame by frame: memory does not grow with its length.

Only a warm-up of some seconds is held, to learn how pad and ground look; what is kept of a frame is
a handful of numbers.
"""

from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace

import cv2
import numpy as np

from leastcut.errors import Refusal
from leastcut.inspect.arrays import F32, F64, U8, Bools
from leastcut.work import look as looks
from leastcut.work import pad, regain, view
from leastcut.work.look import Look
from leastcut.work.sheet import Sheet, lay

Frame = tuple[float, U8]

FASTEST_FPS = 31.0  # frames beyond are passed over: an arm does not need more
SEARCH_FRAMES = 40  # frames held while the square is looked for
SEARCH_EVERY = 8
MOST_LOOKS = 6
AGREE = 0.03  # of the diagonal: two looks that differ less are of the same square
GIVE_UP_S = 25.0
WARM_S = 12.0
WARM_FRAMES = 375
SAMPLES = 24
LEAST_FRAMES = 8
JUMP_MM_S = 1500.0  # an arm moves no faster
ADAPT = 0.04  # share of the new picture in the ground, each time it is renewed
ADAPT_EVERY = 8
REGAIN_EVERY = 8
KNOCKED = 2.5  # times the change of form between frames that a knocked phone may make
AFRESH_EVERY = 12  # frames after which another pad is looked for in the whole picture
LONGEST_SIDE = 960


@dataclass(frozen=True)
class Ask:
    """What is known ahead: the square, and perhaps the pad.

    Attributes
    ----------
    square_mm : float
        Inner side of the taped square.
    corners_px : ndarray (4, 2) or None
        Its inner corners in the first frame, from the top left clockwise, if typed.
    pad_at_px : (x, y) or None
        A point on the pad in the first frame, if clicked.
    pad_diameter_mm : float or None
        If typed.
    """

    square_mm: float
    corners_px: F64 | None = None
    pad_at_px: tuple[float, float] | None = None
    pad_diameter_mm: float | None = None


@dataclass(frozen=True)
class Track:
    """What was seen of the pad, one row per frame looked at.

    Attributes
    ----------
    t_s : ndarray (n,)
        Time stamps.
    x_mm, y_mm : ndarray (n,)
        Middle of the pad; nan where it was not seen.
    radius_mm : ndarray (n,)
        Its radius as seen; nan where too little of the rim was.
    sd_mm : ndarray (n,)
        Standard uncertainty of the place, against the square.
    square_seen : ndarray (n,)
        Share of the square's sides that the frame showed.
    filled : ndarray (n,)
        How far the disc was filled with the pad's colour and ringed with ground: 1 a bare pad on
        paint, nan where none was seen.
    elsewhere_mm : ndarray (n,)
        How far off another disc is that is nearly as good, 0 without one; nan where not looked for.
    pad_radius_mm : float
        Radius of the pad: the middle one seen, or as learnt where its rim was hardly seen.
    learnt_radius_mm : float
        Radius at which the pad's colour filled discs best, or as typed.
    colour : str
        Its colour, ``#rrggbb``.
    """

    t_s: F64
    x_mm: F64
    y_mm: F64
    radius_mm: F64
    sd_mm: F64
    square_seen: F64
    filled: F64
    elsewhere_mm: F64
    pad_radius_mm: float
    learnt_radius_mm: float
    colour: str


@dataclass
class _State:
    """What changes from frame to frame."""

    place: view.Anchor
    sheet: Sheet
    tape: regain.Tape
    lost: int = 0  # frames since the square was lost
    offer: view.Pose | None = None  # found once in another form, not yet believed
    usual: float = 0.0  # share of the square's samples that is mostly seen
    pose: view.Pose = view.STILL
    look: Look | None = None
    warm: deque[tuple[float, U8, view.Pose]] = field(default_factory=deque)
    rows: list[tuple[float, ...]] = field(default_factory=list)
    last: tuple[float, float, float] | None = None  # t, x, y in the raster
    refused: Refusal | None = None
    shape: tuple[int, ...] = ()
    seen: Bools | None = None  # what every frame learnt from showed


def follow(frames: Iterable[Frame], ask: Ask) -> Track | Refusal:
    """Follow the pad.

    Parameters
    ----------
    frames : iterable of (time [s], frame (H, W, 3) uint8)
        Blue, green, red, upright, in order. They are read once and not kept.
    ask : Ask
        The square and what is known of the pad, in pixels of the frames as given.

    Returns
    -------
    Track or Refusal
        Refusal when there is no square, no pad, or next to nothing of either.
    """
    stream = _thinned(frames)
    begun = _begin(stream, ask)
    if isinstance(begun, Refusal):
        return begun
    state, held = begun
    for time, frame in _chained(held, stream):
        _take(state, time, frame, ask)
    if state.look is None:
        _learn(state, ask)
    if state.look is None:
        return state.refused or _too_short()
    return _track(state)


def _too_short() -> Refusal:
    return Refusal(
        why="the video is too short to follow anything",
        do="Film at least one whole stroke; a whole set says more",
    )


def _thinned(frames: Iterable[Frame]) -> Iterator[Frame]:
    """Pass over frames that come faster than an arm needs, or not in order of time."""
    due = -np.inf
    for time, frame in frames:
        if time >= due:
            due = max(due + 1 / FASTEST_FPS, time + 0.7 / FASTEST_FPS)
            yield time, frame


def _chained(held: list[Frame], stream: Iterator[Frame]) -> Iterator[Frame]:
    yield from held
    yield from stream


def _begin(stream: Iterator[Frame], ask: Ask) -> tuple[_State, list[Frame]] | Refusal:
    """Find the square; return the state and the frames held so far, which are still to be taken.

    One look may be fooled by an arm across the tape; two that agree are believed.
    """
    held: list[Frame] = []
    first: float | None = None
    looks: deque[tuple[U8, F64]] = deque(maxlen=MOST_LOOKS)
    for number, (time, frame) in enumerate(stream):
        first = time if first is None else first
        held = [*held[-(SEARCH_FRAMES - 1) :], (time, frame)]
        if number % SEARCH_EVERY == 0 and (agreed := _look(frame, ask, looks)) is not None:
            return _placed(frame, agreed, ask), held
        if time - first > GIVE_UP_S:
            break
    if first is None:
        return Refusal(why="the video holds no frame", do="Copy it from the phone again")
    if not looks and (frame_corners := _settled(held)) is not None:
        looks.append(frame_corners)
    if not looks:
        return Refusal(
            why="no taped square was found in the video",
            do="Film so that all four inner edges of a taped square show, or type its corners with --corners",
        )
    return _placed(*looks[-1], ask), held


def _placed(frame: U8, corners_px: F64, ask: Ask) -> _State:
    place = view.anchor(frame, corners_px)
    return _State(place, lay(place, ask.square_mm), regain.tape(frame, place))


def _look(frame: U8, ask: Ask, looks: deque[tuple[U8, F64]]) -> F64 | None:
    """Look for the square in one frame; return it once an earlier look agrees."""
    if ask.corners_px is not None:
        return ask.corners_px
    corners = view.square_corners(frame)
    if corners is None:
        return None
    near = AGREE * float(np.linalg.norm(corners[2] - corners[0]))
    agrees = any(np.linalg.norm(corners - old, axis=1).max() < near for _, old in looks)
    looks.append((frame, corners))
    return corners if agrees else None


def _settled(held: list[Frame]) -> tuple[U8, F64] | None:
    """Look for the square in the middle picture of the frames held, where the arm has gone."""
    chosen = held[:: max(1, len(held) // 9)]
    middle = np.median(np.stack([frame for _, frame in chosen]), axis=0).astype(np.uint8)
    corners = view.square_corners(middle)
    return None if corners is None else (held[0][1], corners)


def _take(state: _State, time: float, frame: U8, ask: Ask) -> None:
    """Take in one frame."""
    pose = _posed(state, frame)
    if pose is None:
        state.rows.append(_unseen(time, 0.0))
        return
    flat = state.sheet.flat(frame, state.place, pose)
    state.shape = frame.shape
    if state.look is not None:
        _see(state, time, flat, pose)
        return
    state.warm.append((time, flat, pose))
    if len(state.warm) >= WARM_FRAMES or time - state.warm[0][0] > WARM_S:
        _learn(state, ask)
        if state.look is None:  # the pad is not there yet: go on with the newer half
            for _ in range(len(state.warm) // 2):
                old, _, was = state.warm.popleft()
                state.rows.append(_unseen(old, was.seen))


def _posed(state: _State, frame: U8) -> view.Pose | None:
    """Return how the frame lies; None where the square is lost and not found again."""
    near = view.follow(frame, state.place, state.pose, usual=state.usual)
    pose: view.Pose | None = near
    trusted = regain.steady(state.pose, near) and regain.holds(frame, state.place, near, state.tape)
    if not trusted:
        pose = _regained(state, frame) if state.lost % REGAIN_EVERY == 0 else None
    state.lost = 0 if pose else state.lost + 1
    state.usual = max(0.99 * state.usual, pose.seen if pose else 0.0)
    state.pose = pose or state.pose
    return pose


def _regained(state: _State, frame: U8) -> view.Pose | None:
    """Find the square again; believe another form of it only when two looks agree."""
    found = regain.again(frame, state.place, state.tape)
    believed = regain.steady(state.pose, found, KNOCKED) or regain.steady(state.offer, found)
    state.offer = found
    return found if believed else None


def _unseen(time: float, square: float) -> tuple[float, ...]:
    return (time, np.nan, np.nan, np.nan, np.nan, square, np.nan, np.nan)


def _learn(state: _State, ask: Ask) -> None:
    """Learn the look from the frames held, then catch up on them."""
    if len(state.warm) < LEAST_FRAMES:
        state.refused = state.refused or _too_short()
        return
    pick = np.unique(np.linspace(0, len(state.warm) - 1, SAMPLES).astype(int))
    flats = [state.warm[i][1] for i in pick]
    shown = [state.sheet.seen(state.shape, state.place, state.warm[i][2]) for i in pick]
    found = _learnt(flats, shown, state, ask)
    if isinstance(found, Refusal):
        state.refused = found
        return
    state.look = found
    state.rows.sort()
    while state.warm:
        time, flat, pose = state.warm.popleft()
        _see(state, time, flat, pose)


def _learnt(flats: list[U8], shown: list[Bools], state: _State, ask: Ask) -> Look | Refusal:
    """Learn the look by motion or from the click; sharpen it; refuse one like the paint."""
    state.seen = np.asarray(np.logical_and.reduce(shown))
    if ask.pad_at_px is None:
        likely = looks.learn(flats, state.sheet, state.seen)
    else:
        likely = _clicked(flats, state, ask.pad_at_px)
    if isinstance(likely, Refusal):
        return likely
    if ask.pad_diameter_mm is not None:
        size = 0.5 * ask.pad_diameter_mm / state.sheet.grid_mm
        likely = tuple(replace(look, radius_px=size) for look in likely)
    some = [(looks.lab(flat), shows) for flat, shows in zip(flats, shown, strict=True)]
    best = pad.sharpened(pad.chosen(likely, some[::2]), some[::3])
    return looks.apart(best, state.sheet)


def _clicked(
    flats: list[U8], state: _State, at_px: tuple[float, float]
) -> tuple[Look, ...] | Refusal:
    assert state.seen is not None
    x, y = state.sheet.pixel(*at_px)
    col, row = round(x), round(y)
    if not all(2 <= v < state.sheet.size - 2 for v in (col, row)):
        return Refusal(
            why="the clicked place lies far outside the taped square",
            do="Click the middle of the pad in the first frame",
        )
    patch = looks.lab(flats[0])[row - 2 : row + 3, col - 2 : col + 3].reshape(-1, 3)
    colour = np.median(patch, axis=0).astype(np.float32)
    found = looks.from_colour(colour, flats, state.sheet, state.seen)
    return found if isinstance(found, Refusal) else (found,)


def _see(state: _State, time: float, flat: U8, pose: view.Pose) -> None:
    """Find the pad in one frame and note it; renew the ground now and then."""
    assert state.look is not None
    picture = looks.lab(flat)
    shows = state.sheet.seen(state.shape, state.place, pose)
    tells = shows & (state.look.known | (state.seen if state.seen is not None else False))
    disc, elsewhere = _where(state, time, picture, tells)
    if disc.score:
        state.last = (time, disc.x, disc.y)
    x, y = state.sheet.millimetres(np.array(disc.x), np.array(disc.y))
    g = state.sheet.grid_mm
    sd = float(np.hypot(disc.sd, 0.3)) * g
    filled = disc.score or np.nan
    row = (time, float(x), float(y), disc.radius * g, sd, pose.seen, filled, elsewhere * g)
    state.rows.append(row)
    if len(state.rows) % ADAPT_EVERY == 0:
        state.look = _renewed(state.look, picture, disc, shows)


def _where(state: _State, time: float, picture: F32, tells: Bools) -> tuple[pad.Disc, float]:
    """Look near the last place, or everywhere; now and then look for another that is as good."""
    look = state.look
    assert look is not None
    disc, elsewhere = pad.NOWHERE, np.nan
    if state.last is not None and time - state.last[0] < 0.5:
        reach = 6 + JUMP_MM_S * (time - state.last[0]) / state.sheet.grid_mm
        disc = pad.locate(picture, look, state.last[1:], min(reach, 60.0), tells=tells)
        if disc.score and len(state.rows) % AFRESH_EVERY == 0:
            elsewhere = pad.rival_px(picture, look, disc, tells=tells)
    if not disc.score:
        disc = pad.locate(picture, look, None, 0.0, tells=tells)
    return disc, elsewhere


def _renewed(look: Look, picture: F32, disc: pad.Disc, shows: Bools) -> Look:
    """Let the ground follow slow changes of light and residue, away from the pad."""
    far = np.sqrt((((picture - look.colour) / np.maximum(look.spread, looks.FLOOR)) ** 2).sum(-1))
    free = (far > 4.0) & shows
    if disc.score:
        mask = np.ones(free.shape, np.uint8)
        centre = (round(disc.x), round(disc.y))
        cv2.circle(mask, centre, round(1.25 * look.radius_px), 0, -1)
        free &= mask > 0
    new = free & ~look.known
    share = np.where(new, 1.0, np.where(free, ADAPT, 0.0)).astype(np.float32)[..., None]
    return replace(
        look, ground=look.ground + share * (picture - look.ground), known=look.known | new
    )


def _track(state: _State) -> Track:
    rows = np.array(sorted(state.rows), np.float64).reshape(-1, 8)
    assert state.look is not None
    code = np.clip(state.look.colour, 0, 255).astype(np.uint8).reshape(1, 1, 3)
    r, g, b = cv2.cvtColor(code, cv2.COLOR_LAB2RGB)[0, 0]
    sizes = rows[np.isfinite(rows[:, 3]), 3]
    learnt = state.look.radius_px * state.sheet.grid_mm
    return Track(
        t_s=rows[:, 0],
        x_mm=rows[:, 1],
        y_mm=rows[:, 2],
        radius_mm=rows[:, 3],
        sd_mm=rows[:, 4],
        square_seen=rows[:, 5],
        filled=rows[:, 6],
        elsewhere_mm=rows[:, 7],
        pad_radius_mm=float(np.median(sizes)) if len(sizes) > 20 else learnt,
        learnt_radius_mm=learnt,
        colour=f"#{r:02x}{g:02x}{b:02x}",
    )
