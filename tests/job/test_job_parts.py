"""The joints of the job: a car from tables, facts, budgets of sections, words for the terminal."""

import json
from dataclasses import replace
from pathlib import Path

import msgspec
import numpy as np
import pytest

from leastcut.errors import InputError
from leastcut.handover.records import Dossier
from leastcut.inspect.gauge import calibrate
from leastcut.inspect.records import Reading
from leastcut.job import look, weigh
from leastcut.job.carfrom import PanelTableError, car_of
from leastcut.job.contract import answer
from leastcut.job.decide import decide
from leastcut.job.evidence import Evidence
from leastcut.job.facts import conductor, window_of
from leastcut.job.gather import gather, read_json
from leastcut.job.run import check, encode
from leastcut.job.sources import Folder
from leastcut.job.summary import summary
from leastcut.shop.jobfile import JobFileError, parse
from leastcut.shop.jobplace import ProtectTable, RoomTable
from leastcut.shop.jobschema import JobFile
from leastcut.shop.quantities import Micrometres

BARE = 'format = 1\n[car]\nlabel = "c"\nbody = "two-box"\n'
SQUARE = [[0, 0], [900, 0], [900, 700], [0, 700]]


def job(text: str) -> JobFile:
    found, problems = parse(BARE + text, "a.toml")
    assert problems == ()
    assert found is not None
    return found


def test_a_panel_is_stretched_skipped_and_given_a_material() -> None:
    text = '[[panel]]\nid = "roof"\nwidth = "1.2 m"\n[[panel]]\nid = "bonnet"\nskip = true\n'
    text += '[[panel]]\nid = "tailgate"\nmaterial = "composite"\n'
    panels = {panel.id: panel for panel in car_of(job(text), {}).panels}
    across = [x for x, _ in panels["roof"].outline_mm]
    assert max(across) - min(across) == pytest.approx(1200)
    assert "bonnet" not in panels
    assert panels["tailgate"].material == "composite"


def test_a_panel_of_ones_own_needs_side_and_facing() -> None:
    own = f'[[panel]]\nid = "spoiler"\noutline_mm = {SQUARE}\n'
    with pytest.raises(PanelTableError, match="does not have") as caught:
        car_of(job(own), {})
    assert caught.value.number == 0
    panels = car_of(job(own + 'side = "centre"\nfacing = "rear"\n'), {}).panels
    assert panels[-1].id == "spoiler"
    with pytest.raises(PanelTableError, match="no such panel"):
        car_of(job('[[panel]]\nid = "wing"\n'), {})


def test_an_outline_may_stand_in_a_file(tmp_path: Path) -> None:
    (tmp_path / "o.json").write_text(json.dumps({"outline_mm": SQUARE}))
    (tmp_path / "a.toml").write_text(BARE + '[[panel]]\nid = "roof"\noutline_file = "o.json"\n')
    (roof,) = [p for p in gather(tmp_path / "a.toml").car.panels if p.id == "roof"]
    assert sorted(roof.outline_mm) == sorted((float(x), float(y)) for x, y in SQUARE)
    for content, what in (("[1]", "not a JSON object"), ("{", "not JSON")):
        (tmp_path / "o.json").write_text(content)
        with pytest.raises(JobFileError, match=what) as caught:
            gather(tmp_path / "a.toml")
        assert "a.toml:7 panel 1 outline_file" in caught.value.problems[0].where
    with pytest.raises(InputError, match="cannot read"):
        read_json(Folder(tmp_path / "a.toml", "", job("")), "none.json")


def test_names_that_lead_nowhere_are_all_reported(tmp_path: Path) -> None:
    text = '[[film.earlier]]\npanel = "rof"\ncut = "2 µm"\nsd = "1 µm"\n'
    text += '[[trial]]\nprocess = "x"\nsets = 1\npanel = "bonet"\nbefore = "b.jpg"\n'
    text += '[[trial]]\nprocess = "x"\nsets = 1\nbefore = "b.jpg"\nafter = "a.jpg"\n'
    (tmp_path / "a.toml").write_text(BARE + text)
    with pytest.raises(JobFileError) as caught:
        gather(tmp_path / "a.toml")
    said = [str(problem) for problem in caught.value.problems]
    for words in ("Did you mean 'roof'?", "Did you mean 'bonnet'?"):
        assert any(words in line for line in said), words
    assert sum("no process 'x'" in line for line in said) == 2
    assert sum("only one of two photos" in line for line in said) == 1
    assert sum("no file" in line for line in said) == 2


def test_a_material_for_no_panel_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text(BARE + '[car.materials]\nhood = "steel"\n')
    with pytest.raises(JobFileError, match="no panel 'hood'"):
        gather(tmp_path / "a.toml")


def test_a_ladder_with_a_label_twice_is_refused(tmp_path: Path) -> None:
    one = '[[process]]\nlabel = "x"\npad = "wool"\nliquid = "heavy"\n'
    (tmp_path / "a.toml").write_text(BARE + one + one)
    with pytest.raises(JobFileError) as caught:
        gather(tmp_path / "a.toml")
    assert "process" in caught.value.problems[0].where


def test_the_cord_is_named_as_the_cord_model_knows_it() -> None:
    assert conductor(RoomTable()) is None
    assert conductor(RoomTable(conductor_awg=14)) == "14 AWG"
    room = job('[room]\nconductor = "1.5 mm²"\n').room
    assert conductor(room) == "1.5 mm2"


def test_the_data_sheet_narrows_the_window() -> None:
    air = {"air": "19 °C", "humidity_percent": 60}
    wide = msgspec.convert(air, ProtectTable, dec_hook=_decode)
    tight = msgspec.convert({**air, "humidity_max_percent": 50}, ProtectTable, dec_hook=_decode)
    cold = msgspec.convert({**air, "air_min": "21 °C"}, ProtectTable, dec_hook=_decode)
    verdicts = [window.ok for table in (wide, tight, cold) if (window := window_of(table))]
    assert verdicts == [True, False, False]
    assert window_of(ProtectTable()) is None


def _decode(kind: type, value: object) -> object:
    from leastcut.shop.quantities import decode

    return decode(kind, value)


def test_readings_with_a_place_give_sections_their_own_budgets(evidence: Evidence) -> None:
    placed = [
        Reading(panel="bonnet", spot=str(n), reading_um=118.0 + thin, x_mm=x, y_mm=600.0)
        for n, (x, thin) in enumerate([(200, -6), (450, -3), (700, 0), (950, 3), (1200, 6)] * 3)
    ]
    gauge = calibrate(evidence.checks)
    spotted = replace(evidence, readings=tuple(placed))
    layouts = weigh.weigh(spotted).inputs.layouts
    known = weigh.film_study(spotted, gauge=gauge)
    budgets = weigh.section_budgets_um(spotted, layouts, known)
    assert set(budgets) == {"bonnet"}
    assert len(set(budgets["bonnet"].values())) > 1
    assert weigh.section_budgets_um(evidence, layouts, known) == {}


def test_a_drop_needs_two_readings_on_either_side() -> None:
    assert look.gauge_drop((120.0,), (119.0, 118.0)) is None
    drop = look.gauge_drop((120.0, 122.0, 121.0), (118.0, 120.0, 119.0))
    assert drop is not None
    assert drop.value == pytest.approx(2.0)
    # source: standard uncertainty of a difference of two means, JCGM 100, 4.2 and 5.1; recomputed,
    # with our floor of 1 % of the film in place of the smaller scatter shown
    assert drop.sd == pytest.approx((2 * 1.21**2 / 3) ** 0.5, rel=1e-3)


def test_the_summary_says_what_a_person_needs_first(dossier: Dossier) -> None:
    said = summary(dossier)
    for words in ("Test spot: ", "Plan:", "Quote:", "Would help most:", "cautions stand"):
        assert words in said
    assert "µm" not in summary(msgspec.structs.replace(dossier, units="us")).split("Test spot")[0]


def test_a_car_that_may_spend_nothing_is_left_alone(evidence: Evidence) -> None:
    target = msgspec.structs.replace(evidence.job.target, reserve_um=Micrometres(60.0))
    poor = replace(evidence, job=msgspec.structs.replace(evidence.job, target=target))
    dossier = decide(poor, rng=np.random.default_rng(1))
    assert not any(section.steps for section in dossier.plan.sections)
    assert "nothing to polish" in summary(dossier)
    document = answer(dossier, painted_area_m2=1.0, files=())
    assert json.loads(encode(document))["panels"][0]["reserve_um"] == 60.0
    (plan,) = [stage for stage in dossier.stages if stage.stage == "plan"]
    assert not plan.done


def test_check_says_what_is_wrong_as_values(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text(BARE + 'bodi = "x"\n')
    found = check(tmp_path / "a.toml")
    assert not found.valid
    assert found.problems[0].do == "Did you mean 'body'?"
    (tmp_path / "a.toml").write_text(BARE)
    assert check(tmp_path / "a.toml").valid
