"""The reader's units in sentences: quantities are translated, names are not."""

import msgspec
import pytest

from leastcut.car.units import prose
from leastcut.handover.records import Dossier, Help
from leastcut.job.reader import for_reader


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        # source: 1 mil = 25.4 µm, 1 ft = 304.8 mm, 1 fl oz (US) = 29.5735295625 ml, by definition
        ("cut 25.4 µm", "cut 1.00\u00a0mil"),
        ("±2.54 µm", "±0.10\u00a0mil"),
        ("10 m² of paint", "108\u00a0ft² of paint"),
        ("60 ml and 254 mm", "2.0\u00a0fl oz and 10.0\u00a0in"),
        ("63.5 mm/s", "2.5\u00a0in/s"),
        ("99 mm/cm²", "99 mm/cm²"),
        ("6 m/s² and 45 °C", "6 m/s² and 45 °C"),
    ],
)
def test_prose_in_us_units(text: str, shown: str) -> None:
    assert prose(text, "us") == shown
    assert prose(text, "metric") == text


def test_a_dossier_is_translated_but_its_names_are_not(dossier: Dossier) -> None:
    ladder = (msgspec.structs.replace(dossier.ladder[0], label="pad of 150 mm"),)
    helps = (Help(evidence="photo", panel="bonnet", why="within 2.54 µm"),)
    before = msgspec.structs.replace(dossier, ladder=ladder, would_help_most=helps)
    after = for_reader(before, "us")
    assert after.would_help_most[0].why == "within 0.10\u00a0mil"
    assert after.would_help_most[0].panel == "bonnet"
    assert after.ladder == ladder
    assert after.car == before.car
    assert for_reader(before, "metric") is before
