"""Clear coat from place to place: the map of a panel, budgets of its sections, the next reading.

On a panel the film varies smoothly. Located readings bend the map by a Gaussian process; what they
do not show stays as spread. Towards edges and body lines the film changes faster across than along:
the process sees the closeness of an edge as a third coordinate. There, too, paint runs thin and a
pad cuts fastest, so the map is lowered by an allowance.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from leastcut.car.records import Interval, Polygon
from leastcut.inspect import gp, mixture
from leastcut.inspect.budget import allowance_um
from leastcut.inspect.gauge import spread_of
from leastcut.inspect.layers import place_sds
from leastcut.inspect.raster import Raster, fill, rasterise
from leastcut.inspect.records import NextReading, SectionBudget
from leastcut.inspect.study import THIN_PLACE_Z, THIN_SHARE, Study
from leastcut.inspect.summary import is_readable

Array = NDArray[np.float64]

EDGE_MM = 25.0
"""How far from an edge or body line paint counts as edge [mm]. Common practice, no source."""

EDGE_THINNER = 0.20
"""How much less clear coat an edge is taken to carry, tapering to none at EDGE_MM. Common practice,
no source."""

_EDGE_WEIGHT_MM = 150.0  # an edge is as far from the face, to the film, as this distance along it
_DROP_Z = 2.5  # film missing beyond this many standard deviations is taken as missing clear
_CELLS = 400  # cells that speak for a section
_FEW_CELLS = 50  # and for how far its places go together


@dataclass(frozen=True)
class FilmMap:
    """Clear coat of one panel on a grid, row 0 at the least y; NaN where there is no paint [µm].

    Attributes
    ----------
    panel : str
        Panel id.
    raster : Raster
        The grid.
    mean_um, place_sd_um : ndarray, shape (rows, columns)
        Best estimate, and spread from place to place that no reading shows.
    low_um : ndarray, shape (rows, columns)
        Lower bound of thin places, with the confidence of the rule.
    doubt_um : float
        How far the panel's own lower bound lies below its mean: shared by all places.
    spots_mm, spots_um : ndarray, shape (n, 2) and (n,)
        Where readings were taken, and their corrected means.
    """

    panel: str
    raster: Raster
    mean_um: Array
    place_sd_um: Array
    low_um: Array
    doubt_um: float
    spots_mm: Array
    spots_um: Array


@dataclass(frozen=True)
class _Local:
    """What the map of one panel is made of."""

    raster: Raster
    spots: gp.Spots
    shape: gp.Shape
    usual_sd: float
    fraction: float  # of a place's deviation that is clear coat
    clear_place_var: float


def draw_maps(known: Study, *, grid_mm: float = 10.0) -> tuple[FilmMap, ...]:
    """Draw the map of every panel of a study.

    Parameters
    ----------
    known : Study
        From :func:`leastcut.inspect.study.study`.
    grid_mm : float
        Pitch of the maps [mm].

    Returns
    -------
    tuple of FilmMap
        One per panel; even where no reading has a place.
    """
    return tuple(_draw(known, i, local) for i, local in enumerate(_locals(known, grid_mm)))


def _locals(known: Study, grid_mm: float) -> list[_Local]:
    """Lay grids, pool located readings, and choose the process's shape for the whole car."""
    rasters = [rasterise(panel, grid_mm=grid_mm) for panel in known.panels]
    spots = [_spots(known, i, raster) for i, raster in enumerate(rasters)]
    located = [i for i, s in enumerate(spots) if len(s.value)]
    shapes: dict[int, gp.Shape] = {}
    for layer in ("total", "clear"):
        rows = [i for i in located if known.summaries[i].layer == layer]
        sd = _usual_sd(known, layer)
        chosen = gp.choose_shape([spots[i] for i in rows], sd=sd, mean_sd=sd)
        shapes.update(zip(rows, chosen, strict=True))
    flat = gp.Shape(_usual_sd(known, "total"), 1.0, 0.0)
    return [
        _local(known, i, rasters[i], spots[i], shapes.get(i, flat)) for i in range(len(rasters))
    ]


def _usual_sd(known: Study, layer: str) -> float:
    prior = known.prior
    return prior.clear_place_sd if layer == "clear" else float(prior.total_place_var**0.5)


def _local(known: Study, i: int, raster: Raster, spots: gp.Spots, shape: gp.Shape) -> _Local:
    clear_var = float(known.belief.weight[i] @ np.array(place_sds(known.prior)) ** 2)
    total_var = known.prior.total_place_var + clear_var - known.prior.clear_place_sd**2
    is_clear = known.summaries[i].layer == "clear"
    return _Local(
        raster=raster,
        spots=spots,
        shape=shape,
        usual_sd=_usual_sd(known, "clear" if is_clear else "total"),
        fraction=1.0 if is_clear else clear_var / total_var,
        clear_place_var=clear_var,
    )


def _spots(known: Study, i: int, raster: Raster) -> gp.Spots:
    """Pool the located readings of the shown layer, as deviations from the panel's mean."""
    shown = known.summaries[i].shown
    rows = (
        [
            ((r.x_mm, r.y_mm), float(value) - shown.mean_um)
            for r, value in zip(shown.kept, shown.values_um, strict=True)
            if r.x_mm is not None and r.y_mm is not None
        ]
        if shown
        else []
    )
    if not rows:
        return gp.Spots(np.zeros((0, 3)), np.zeros(0), np.zeros(0))
    places = np.array([place for place, _ in rows])
    noise = np.full(len(rows), spread_of(known.gauge).repeat_um ** 2)
    return gp.pool(_seen_by_film(raster, places), np.array([v for _, v in rows]), noise)


def _seen_by_film(raster: Raster, places_mm: Array) -> Array:
    """Add the closeness of an edge as a third coordinate (m, 3) [mm]."""
    near = np.exp(-raster.to_edge_mm[raster.frame.cell_of(places_mm)] / EDGE_MM)
    return np.column_stack([places_mm, _EDGE_WEIGHT_MM * near])


def _draw(known: Study, i: int, local: _Local) -> FilmMap:
    raster = local.raster
    at = raster.frame.places_mm(raster.paint)
    mean, sd = _clear_at(known, i, local, _seen_by_film(raster, at))
    mean = mean * (1 - edge_thinning(raster.to_edge_mm[raster.paint]))
    doubt = float(known.numbers[i, 0] - known.numbers[i, 3])
    low = np.maximum(0.0, mean - doubt - THIN_PLACE_Z * sd)
    shown = known.summaries[i].shown
    level = shown.mean_um if shown else 0.0
    return FilmMap(
        panel=known.panels[i].id,
        raster=raster,
        mean_um=_on_grid(raster, mean),
        place_sd_um=_on_grid(raster, sd),
        low_um=_on_grid(raster, low),
        doubt_um=doubt,
        spots_mm=local.spots.place[:, :2],
        spots_um=local.spots.value + level,
    )


def _clear_at(known: Study, i: int, local: _Local, at: Array) -> tuple[Array, Array]:
    """Mean of the clear at places, and the spread that no reading there shows [µm]."""
    average = float(known.numbers[i, 0])
    rest = (1 - local.fraction) * local.clear_place_var
    if not len(local.spots.value):
        return np.full(len(at), average), np.full(len(at), local.clear_place_var**0.5)
    bend, var = gp.condition(local.spots, at, shape=local.shape)
    missing = np.maximum(0.0, -bend - _DROP_Z * local.usual_sd) * (1 - local.fraction)
    mean = np.maximum(0.0, average + local.fraction * bend - missing)
    return mean, np.sqrt(local.fraction**2 * var + rest)


def edge_thinning(to_edge_mm: Array) -> Array:
    """Return the fraction of clear that an edge is taken to lack, by distance to it [mm].

    Examples
    --------
    >>> edge_thinning(np.array([0.0, 12.5, 25.0, 300.0])).tolist()
    [0.2, 0.1, 0.0, 0.0]
    """
    return np.asarray(EDGE_THINNER * np.maximum(0.0, 1 - to_edge_mm / EDGE_MM))


def _on_grid(raster: Raster, values: Array) -> Array:
    grid = np.full(raster.paint.shape, np.nan)
    grid[raster.paint] = values
    return grid


def section_budgets(
    known: Study, drawn: FilmMap, sections: Sequence[tuple[str, Polygon]]
) -> tuple[SectionBudget, ...]:
    """Say for each section of a panel what may be cut there, face and edge apart.

    Parameters
    ----------
    known : Study
        The study that the map was drawn from.
    drawn : FilmMap
        Map of the panel.
    sections : sequence of (str, Polygon)
        Section id and its outline in the panel's plane [mm].

    Returns
    -------
    tuple of SectionBudget
        One per section, in order; a section without paint gets a budget of 0.
    """
    i = [panel.id for panel in known.panels].index(drawn.panel)
    edge = drawn.raster.to_edge_mm < EDGE_MM
    found = []
    for section, outline in sections:
        cells = fill(drawn.raster.frame, outline) & drawn.raster.paint
        face = cells & ~edge
        clear, budget = _of_cells(known, i, drawn, face if face.any() else cells)
        _, at_edge = _of_cells(known, i, drawn, cells & edge)
        found.append(
            SectionBudget(
                panel=drawn.panel,
                id=section,
                clear_um=clear,
                budget_um=budget,
                edge_budget_um=min(budget, at_edge) if (cells & edge).any() else budget,
                notes=_section_notes(budget, at_edge, touches=bool((cells & edge).any())),
            )
        )
    return tuple(found)


def _section_notes(budget: float, at_edge: float, *, touches: bool) -> tuple[str, ...]:
    notes = []
    if touches and at_edge < budget:
        notes.append("Tape its edges and body lines, or keep the pad's rim off them.")
    if budget == 0.0:
        notes.append("Not worth the clear coat: leave deep scratches or refer them to a painter.")
    return tuple(notes)


def _of_cells(
    known: Study, i: int, drawn: FilmMap, cells: NDArray[np.bool_]
) -> tuple[Interval, float]:
    """Interval of the clear and the budget over marked cells."""
    if not cells.any():
        return Interval(mean=0.0, low=0.0, high=0.0), 0.0
    mean, thin = _thin_of(drawn, cells, confidence=known.rule.confidence)
    middle = float(mean.mean())
    shift = middle - float(known.numbers[i, 0])
    low, high = (max(0.0, float(x) + shift) for x in known.numbers[i, 1:3])
    budget = 0.0
    if known.paint.system != "matt":
        removed = float(known.removed_um[i])
        budget = allowance_um(middle, thin, removed_um=removed, rule=known.rule)
    return Interval(mean=middle, low=min(low, middle), high=max(high, middle)), budget


def _thin_of(drawn: FilmMap, cells: NDArray[np.bool_], *, confidence: float) -> tuple[Array, float]:
    """Mean of the cells, and the lower bound of their thin places [µm].

    What no reading shows of a place is partly shared by the whole section, because film varies
    smoothly. It counts as thin places within the section and, for that part, as doubt about the
    section as well: counted twice rather than split, which would be less careful.
    """
    mean, sd = drawn.mean_um[cells], drawn.place_sd_um[cells]
    few = slice(None, None, max(1, len(mean) // _FEW_CELLS))
    places = drawn.raster.frame.places_mm(cells)[few]
    shared = float(gp.correlation(places, places, gp.USUAL_LENGTH_MM).mean())
    some = slice(None, None, max(1, len(mean) // _CELLS))
    thin = float(thin_place_um(mean[some], sd[some]))
    doubt = np.hypot(drawn.doubt_um, ndtri(confidence) * float(sd.mean()) * shared**0.5)
    return mean, thin - float(doubt)


def thin_place_um(mean_um: Array, sd_um: Array) -> Array:
    """Return the clear that only 5 % of places undercut [µm].

    Parameters
    ----------
    mean_um, sd_um : ndarray, shape (n,) and (..., n)
        Mean of the clear at n places, and what it varies there.

    Examples
    --------
    >>> float(thin_place_um(np.full(3, 40.0), np.full(3, 2.0)).round(3))
    36.71
    """
    weight = np.full(len(mean_um), 1 / len(mean_um))
    return mixture.quantile(THIN_SHARE, weight, mean_um, np.maximum(sd_um, 1e-6))


_GRID_FOR_ADVICE_MM = 30.0
_CELLS_FOR_ADVICE = 100
_EVERY = 3  # of the cells of that grid, so many are passed over between two candidates


def next_reading(known: Study, panel_id: str) -> tuple[NextReading, ...]:
    """Say where on a panel one more spot of three readings would raise the budget most.

    Every free place on a coarse grid is tried: the spread that its reading would take off the map,
    and the budget that would then be allowed if the reading agreed with the map. Where several
    gain alike, the one that is known least is named.

    Parameters
    ----------
    known : Study
        The study so far.
    panel_id : str
        Which panel.

    Returns
    -------
    tuple of NextReading
        The best place; empty where a common gauge cannot read or no place is free of edges.
    """
    i = [panel.id for panel in known.panels].index(panel_id)
    if not is_readable(known.panels[i].material, known.summaries[i].layer or "total"):
        return ()
    local = _locals(known, _GRID_FOR_ADVICE_MM)[i]
    face = local.raster.paint & (local.raster.to_edge_mm >= EDGE_MM)
    if not face.any():
        return ()
    sparse = np.zeros_like(face)
    sparse[1::_EVERY, 1::_EVERY] = True
    tried = local.raster.frame.places_mm(face & sparse if (face & sparse).any() else face)
    gains, unknown = _gains(known, i, local, local.raster.frame.places_mm(face), tried)
    best = int(np.lexsort((unknown, np.round(gains, 3)))[-1])
    x, y = (float(v) for v in tried[best])
    return (NextReading(panel=panel_id, x_mm=x, y_mm=y, gain_um=float(gains[best])),)


def _gains(known: Study, i: int, local: _Local, places: Array, tried: Array) -> tuple[Array, Array]:
    """Budget after a reading at each tried place less the budget now; how little is known there."""
    places = places[:: max(1, len(places) // _CELLS_FOR_ADVICE)]
    at, to = _seen_by_film(local.raster, places), _seen_by_film(local.raster, tried)
    shape = (
        local.shape if len(local.spots.value) else gp.Shape(local.usual_sd, 300.0, local.usual_sd)
    )
    mean, _ = _clear_at(known, i, local, at)
    _, var = gp.condition(local.spots, at, shape=shape)
    shared = gp.covariance(local.spots, at, to, shape=shape)
    _, var_to = gp.condition(local.spots, to, shape=shape)
    noise = spread_of(known.gauge).repeat_um ** 2 / 3
    after = np.maximum(0.0, var[:, None] - shared**2 / (var_to + noise))
    rest = (1 - local.fraction) * local.clear_place_var
    doubt = float(known.numbers[i, 0] - known.numbers[i, 3])

    sd = np.sqrt(local.fraction**2 * np.column_stack([var, after]).T + rest)
    thin = thin_place_um(mean, sd) - doubt
    budgets = [
        allowance_um(
            float(mean.mean()), float(t), removed_um=float(known.removed_um[i]), rule=known.rule
        )
        for t in thin
    ]
    return np.array(budgets[1:]) - budgets[0], var_to
