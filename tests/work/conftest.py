"""Takes are drawn and followed once for all tests."""

from functools import cache

from takes import Take, frames

from leastcut.polish.records import PadSettings
from leastcut.work.follow import Ask
from leastcut.work.records import Wanted
from leastcut.work.technique import Technique, technique

ONE_SET = Take(square_mm=330.0, speed_mm_s=240.0, fps=24.0)
TWO_SETS = Take(
    square_mm=240.0, pad_mm=100.0, spacing_mm=45.0, speed_mm_s=230.0, sets=2, fps=25.0,
    paint_bgr=(225, 225, 225), tape_bgr=(170, 90, 30), pad_bgr=(40, 160, 60), tilt=-0.1,
    turn_deg=-8.0, shake_px=2.5, blur_px=1.4, noise=4.0, seed=3,
)  # fmt: skip
FAULTY = Take(
    square_mm=330.0, speed_mm_s=290.0, fps=24.0, skip_stroke=1, park_s=(2.0, 1.4),
    lift_s=(5.0, 0.8), lead_s=0.6, paint_bgr=(30, 30, 150), pad_bgr=(230, 230, 230), seed=5,
)  # fmt: skip


@cache
def measured(take: Take) -> Technique:
    """Return a take followed and measured, its pad and pace as planned."""
    wanted = Wanted(
        arm_speed_mm_s=take.speed_mm_s,
        stroke_spacing_mm=take.spacing_mm,
        sets=take.sets,
        settings=PadSettings(pad_diameter_mm=take.pad_mm),
    )
    return technique(frames(take), Ask(take.square_mm), wanted=wanted)
