"""In which order the sections of a panel are worked.

Common practice, no source: from the top of the car downwards, so that dust and drips fall on what
is still to be done; on panels that face upwards, from the middle towards each side, one half after
the other, so that nobody leans over a finished section and one standing place serves each half.
"""

import shapely

from leastcut.car.records import Panel


def work_order(cells: list[shapely.Polygon], panel: Panel) -> list[shapely.Polygon]:
    """Return the cells of a panel in the order of work.

    Parameters
    ----------
    cells : list of shapely.Polygon
        The cells [mm].
    panel : Panel
        Which way it faces.

    Returns
    -------
    list of shapely.Polygon
        Row after row from the top for an upright panel; far from the standing side first, left
        half before right, for one that faces upwards.
    """
    middles = {id(cell): cell.centroid for cell in cells}
    if panel.facing == "top":
        x0, _, x1, _ = shapely.total_bounds(cells)
        centre = 0.5 * (x0 + x1)
        left = [c for c in cells if middles[id(c)].x <= centre]
        right = [c for c in cells if middles[id(c)].x > centre]
        return [*_rows(left, "reach-left"), *_rows(right, "reach-right")]
    return _rows(cells, "down")


def _rows(cells: list[shapely.Polygon], way: str) -> list[shapely.Polygon]:
    """Group cells whose spans overlap by half into rows across `way`; walk rows there and back."""
    across = {"down": 1, "reach-left": 0, "reach-right": 0}[way]
    sign = -1.0 if way != "reach-right" else 1.0

    def span(cell: shapely.Polygon) -> tuple[float, float]:
        return cell.bounds[across], cell.bounds[across + 2]

    def first(cell: shapely.Polygon) -> tuple[float, float]:
        low, high = span(cell)
        middle = round(sign * (low + high) / 2, 3)
        return middle, round(cell.centroid.coords[0][1 - across], 3)

    rows: list[list[shapely.Polygon]] = []
    for cell in sorted(cells, key=first):
        low, high = span(cell)
        if rows:
            top, bottom = span(rows[-1][0])
            if min(high, bottom) - max(low, top) > 0.5 * min(high - low, bottom - top):
                rows[-1].append(cell)
                continue
        rows.append([cell])
    ordered: list[shapely.Polygon] = []
    for index, row in enumerate(rows):
        row.sort(key=lambda c: round(c.centroid.coords[0][1 - across], 3), reverse=index % 2 == 1)
        ordered.extend(row)
    return ordered
