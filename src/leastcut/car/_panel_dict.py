"""A panel read from JSON-like data, with errors that say which key."""

from collections.abc import Mapping
from typing import Any, cast, get_args

from leastcut.car._checked import OutlineError, checked, listed, point_of
from leastcut.car._curves import clip_area
from leastcut.car.records import Facing, KeepOut, Material, Panel, Polyline, Side


def panel_from_dict(data: object, *, where: str = "") -> Panel:
    """Return a panel from the decoded JSON of an outline file.

    Parameters
    ----------
    data : object
        A mapping with ``panel`` (or ``id``) and ``outline_mm``; wanted or not: ``name``, ``side``,
        ``facing``, ``material``, ``keep_out_mm`` (list of polygons) or ``keep_outs`` (list of
        ``{"name", "outline_mm"}``), ``body_lines_mm``, ``centre_height_mm``,
        ``curvature_radius_mm``. Other keys are left to whoever knows them.
    where : str
        File or table, for the error.

    Returns
    -------
    Panel
        With keep-outs cut to the outline.

    Raises
    ------
    OutlineError
        If a key is missing or holds something else than it should.

    Examples
    --------
    >>> panel = panel_from_dict({"panel": "roof", "outline_mm": [[0, 0], [900, 0], [900, 700]]})
    >>> panel.name, len(panel.outline_mm)
    ('Roof', 3)
    """
    try:
        return _panel(data)
    except OutlineError as error:
        error.at(where)
        raise


def _panel(data: object) -> Panel:
    if not isinstance(data, Mapping):
        raise OutlineError("this is no panel", do='Write an object with "panel" and "outline_mm"')
    ident = _ident(data)
    outline = checked(_needed(data, "outline_mm"), where="outline_mm")
    side = _choice(data, "side", get_args(Side), _side_of(ident))
    return Panel(
        id=ident,
        name=_words(data, "name", ident.replace("-", " ").capitalize()),
        side=cast("Side", side),
        facing=cast("Facing", _choice(data, "facing", get_args(Facing), "side")),
        outline_mm=outline,
        material=cast("Material", _choice(data, "material", get_args(Material), "unknown")),
        keep_outs=_keep_outs(data, outline),
        body_lines_mm=tuple(
            _line(value, f"body_lines_mm[{i}]")
            for i, value in enumerate(_list(data, "body_lines_mm"))
        ),
        centre_height_mm=_length(data, "centre_height_mm") or 0.0,
        curvature_radius_mm=_length(data, "curvature_radius_mm"),
    )


def _needed(data: Mapping[Any, Any], key: str) -> Any:
    if data.get(key) is None:
        raise OutlineError(f'"{key}" is missing', do=f'Add "{key}"')
    return data[key]


def _ident(data: Mapping[Any, Any]) -> str:
    ident = data.get("panel", data.get("id"))
    if not isinstance(ident, str) or not ident.strip():
        raise OutlineError(
            '"panel" is missing or no text', do='Name the panel, such as "door-front-left"'
        )
    return ident.strip()


def _side_of(ident: str) -> str:
    last = ident.rsplit("-", 1)[-1]
    return last if last in {"left", "right"} else "centre"


def _words(data: Mapping[Any, Any], key: str, usual: str) -> str:
    value = data.get(key, usual)
    if not isinstance(value, str):
        raise OutlineError(f'"{key}" is no text', where=key, do="Put it in quotes")
    return value


def _choice(data: Mapping[Any, Any], key: str, allowed: tuple[str, ...], usual: str) -> str:
    value = data.get(key, usual)
    if value not in allowed:
        raise OutlineError(
            f'"{key}" is {value!r}', where=key, do=f"Use one of {', '.join(allowed)}"
        )
    return str(value)


def _length(data: Mapping[Any, Any], key: str) -> float | None:
    value = data.get(key)
    if value is None:
        return None
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not (number and 0 <= value <= 1e6):
        raise OutlineError(f'"{key}" is {value!r}', where=key, do="Give millimetres, 0 or more")
    return float(value)


def _list(data: Mapping[Any, Any], key: str) -> list[Any]:
    value = data.get(key)
    if value is None:
        return []
    if not isinstance(value, (list, tuple)):
        raise OutlineError(f'"{key}" is no list', where=key, do="Give a list, or leave it out")
    return list(value)


def _line(value: Any, where: str) -> Polyline:
    try:
        points = [point_of(p, i) for i, p in enumerate(listed(value), start=1)]
    except OutlineError as error:
        error.at(where)
        raise
    if len(points) < 2:
        raise OutlineError("a line needs two points", where=where, do="Add the other end")
    return tuple(points)


def _keep_outs(data: Mapping[Any, Any], outline: Any) -> tuple[KeepOut, ...]:
    found = [
        _keep_out(f"keep-out {i}", value, f"keep_out_mm[{i - 1}]", outline)
        for i, value in enumerate(_list(data, "keep_out_mm"), start=1)
    ]
    for i, value in enumerate(_list(data, "keep_outs")):
        place = f"keep_outs[{i}]"
        if not isinstance(value, Mapping):
            raise OutlineError(
                "this is no keep-out", where=place, do='Write {"name": …, "outline_mm": …}'
            )
        name = _words(value, "name", f"keep-out {i + 1}")
        found.append(_keep_out(name, value.get("outline_mm", ()), place, outline))
    return tuple(found)


def _keep_out(name: str, points: Any, where: str, outline: Any) -> KeepOut:
    inside = clip_area(checked(points, where=where), outline)
    if not inside:
        raise OutlineError(
            "this keep-out lies outside the outline",
            where=where,
            do="Give it in the same coordinates as outline_mm, or take it out",
        )
    return KeepOut(name=name, outline_mm=inside)
