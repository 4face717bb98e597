"""Panels typed by hand or read from JSON."""

import json
from typing import Any

import car_shapes
import msgspec
import pytest

from leastcut.car.outline import OutlineError, painted_area_m2, panel_from_dict

DOOR: dict[str, Any] = {
    "panel": "door-rear-left",
    "outline_mm": [[0, 0], [0, 700], [900, 720], [820, 0]],
}


def test_the_least_panel_gets_sensible_rest() -> None:
    panel = panel_from_dict(DOOR)
    assert (panel.id, panel.name, panel.side) == ("door-rear-left", "Door rear left", "left")
    assert (panel.facing, panel.material, panel.keep_outs) == ("side", "unknown", ())
    assert car_shapes.shoelace(panel.outline_mm) > 0


def test_everything_given_is_taken() -> None:
    panel = panel_from_dict(
        {
            "id": " lid ",
            "name": "Lid of the trailer",
            "side": "centre",
            "facing": "top",
            "material": "aluminium",
            "outline_mm": DOOR["outline_mm"],
            "keep_out_mm": [[[-100, 300], [100, 300], [100, 400], [-100, 400]]],
            "keep_outs": [{"name": "lock", "outline_mm": [[400, 400], [450, 400], [450, 450]]}],
            "body_lines_mm": [[[10, 500], [800, 510]]],
            "centre_height_mm": 900,
            "curvature_radius_mm": 1500.5,
            "max_side_mm": 610,
        }
    )
    assert (panel.id, panel.name) == ("lid", "Lid of the trailer")
    assert [k.name for k in panel.keep_outs] == ["keep-out 1", "lock"]
    assert min(x for x, _ in panel.keep_outs[0].outline_mm) == 0, "cut to the outline"
    assert painted_area_m2(panel) == pytest.approx(0.611 - 0.01 - 0.00125, abs=1e-3)
    assert panel.curvature_radius_mm == 1500.5
    assert panel.body_lines_mm == (((10.0, 500.0), (800.0, 510.0)),)


def test_a_built_panel_survives_json() -> None:
    for panel in car_shapes.usual_panels("van").values():
        data = json.loads(msgspec.json.encode(panel))
        again = panel_from_dict(data)
        assert msgspec.structs.replace(again, place_mm=panel.place_mm) == panel


@pytest.mark.parametrize(
    ("change", "words", "where"),
    [
        ({"panel": None}, '"panel" is missing', "f.json"),
        ({"panel": 7}, '"panel" is missing', "f.json"),
        ({"panel": "  "}, '"panel" is missing', "f.json"),
        ({"outline_mm": None}, '"outline_mm" is missing', "f.json"),
        ({"outline_mm": [[0, 0], [1, 1]]}, "2 different points", "f.json outline_mm"),
        ({"name": 3}, '"name" is no text', "f.json name"),
        ({"side": "port"}, "\"side\" is 'port'", "f.json side"),
        ({"facing": []}, '"facing" is \\[\\]', "f.json facing"),
        ({"material": "gold"}, "\"material\" is 'gold'", "f.json material"),
        ({"centre_height_mm": "9"}, "\"centre_height_mm\" is '9'", "f.json centre_height_mm"),
        ({"curvature_radius_mm": -1}, "is -1", "f.json curvature_radius_mm"),
        ({"curvature_radius_mm": True}, "is True", "f.json curvature_radius_mm"),
        ({"body_lines_mm": 4}, "is no list", "f.json body_lines_mm"),
        ({"body_lines_mm": [[[1, 1]]]}, "needs two points", "f.json body_lines_mm[0]"),
        ({"body_lines_mm": [[[1, 1], 5]]}, "point 2 is 5", "f.json body_lines_mm[0]"),
        ({"keep_outs": [3]}, "this is no keep-out", "f.json keep_outs[0]"),
        ({"keep_outs": [{}]}, "0 different points", "f.json keep_outs[0]"),
        (
            {"keep_out_mm": [[[5000, 0], [5100, 0], [5100, 90]]]},
            "lies outside the outline",
            "f.json keep_out_mm[0]",
        ),
    ],
)
def test_what_is_wrong_is_named_with_its_key(
    change: dict[str, Any], words: str, where: str
) -> None:
    with pytest.raises(OutlineError, match=words) as caught:
        panel_from_dict({**DOOR, **change}, where="f.json")
    assert caught.value.where == where
    assert caught.value.do


@pytest.mark.parametrize("data", [None, 3, [], "panel"])
def test_what_is_no_object_is_no_panel(data: object) -> None:
    with pytest.raises(OutlineError, match="this is no panel"):
        panel_from_dict(data)
