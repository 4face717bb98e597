"""The Python interface in one sitting: from a car's size to what one bonnet may lose.

Run it with ``python examples/tour.py``. Everything used here is pure: records and arrays in, records
out; no files, no network. The command line and the workbench call the same functions.
"""

from leastcut.car.bodies import build
from leastcut.car.outline import painted_area_m2
from leastcut.car.records import Interval, Paint, Panel
from leastcut.car.units import parse, show
from leastcut.inspect import film
from leastcut.inspect.gauge import calibrate
from leastcut.inspect.records import FilmFinding, GaugeCheck, Reading
from leastcut.plan.sections import lay_out
from leastcut.polish.records import RemovalSet
from leastcut.polish.removal import simulate_set
from leastcut.protect.window import window
from leastcut.safety.records import ToolUse
from leastcut.safety.vibration import exposure
from leastcut.testspot import decide, ladder
from leastcut.testspot.records import TestSpot, Trial


def the_car() -> tuple[Panel, ...]:
    """Make panels in true size from four measurements, in whatever unit they were taken."""
    size = {"length_mm": "15 ft 5 in", "width_mm": "1.83 m", "height_mm": "1475 mm", "wheelbase_mm": "2.79 m"}  # fmt: skip
    return build("estate", **{name: parse(text, "millimeter") for name, text in size.items()})


def the_film(panels: tuple[Panel, ...]) -> FilmFinding:
    """Say how much clear coat the bonnet has and may spend, from fifteen readings."""
    gauge = calibrate([GaugeCheck(known_um=0.0, shown_um=0.5), GaugeCheck(known_um=125.0, shown_um=126.0)])  # fmt: skip
    shown_um = ((121, 122, 120), (118, 119, 119), (125, 124, 126), (117, 116, 118), (122, 121, 121))
    readings = [
        Reading(panel="bonnet", spot=str(spot), reading_um=float(value))
        for spot, values in enumerate(shown_um)
        for value in values
    ]
    findings = film.assess(panels, readings, paint=Paint(), gauge=gauge)
    return next(one for one in findings if one.panel == "bonnet")


def the_test_spot(budget_um: float) -> TestSpot:
    """Ask what to try next, after one mild trial that left half of the scratches."""
    mildest = ladder.DEFAULT[0].label
    half = Interval(mean=0.5, low=0.4, high=0.6)
    trials = [Trial(process=mildest, sets=2, removed=half, spot="a")]
    spot, _ = decide.assess(trials, ladder.DEFAULT, budget_um=budget_um)
    return spot


def main() -> None:
    """Tell the story."""
    panels = the_car()
    bonnet = next(panel for panel in panels if panel.id == "bonnet")
    print(f"{len(panels)} panels; the bonnet has {painted_area_m2(bonnet):.2f} m² of paint")

    found = the_film(panels)
    print(
        f"its clear coat: {found.clear_um.mean:.1f} µm "
        f"(95 %: {found.clear_um.low:.1f} to {found.clear_um.high:.1f}); "
        f"{found.budget_um:.1f} µm ({show(found.budget_um, 'micrometer', 'us')}) may be cut today"
    )

    advice = the_test_spot(found.budget_um).next
    print(f"test spot: {advice.do} {advice.process or ''}: {advice.why}")

    sections = lay_out(bonnet).sections
    print(f"{len(sections)} sections, {sum(len(s.strokes_mm) for s in sections)} strokes a set")

    cut, _ = simulate_set(
        RemovalSet(
            pad_diameter_mm=130, orbit_mm=15, orbits_per_min=4800, spin_rpm=300, force_n=45,
            arm_speed_mm_s=40, stroke_spacing_mm=40, sets=2, width_mm=600, height_mm=500,
            preston_um_per_kpa_m=0.002,
        )
    )  # fmt: skip
    print(f"two sets with a 130 mm pad: {cut.mean_um:.2f} µm on average, {cut.seconds:.0f} s")

    day = exposure([ToolUse(magnitude_m_s2=6.0, minutes=200.0, k_m_s2=1.5)])
    print(f"200 minutes of it: {day.points:.0f} exposure points (400 is the EU limit)")

    ready = window(18.0, 62.0, 16.0)
    print(f"last layer now? {'yes' if ready.ok else 'no'}: {ready.why}")


if __name__ == "__main__":
    main()
