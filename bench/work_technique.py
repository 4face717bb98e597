"""Technique from video: accuracy over many drawn takes, speed and memory at 1080p."""

import argparse
import json
import resource
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "work"))

import cv2
import numpy as np
from judge import coverage_iou, cut_ratio, path_error_mm
from takes import Take, frames, write

from leastcut.polish.records import PadSettings
from leastcut.shop import video
from leastcut.work.follow import Ask
from leastcut.work.records import Wanted
from leastcut.work.technique import technique

RATE = 2e-3
PAINTS = (
    (45, 30, 25),
    (225, 225, 225),
    (30, 30, 160),
    (120, 120, 120),
    (110, 60, 30),
    (30, 60, 30),
)
PADS = (
    (40, 120, 240),
    (40, 200, 60),
    (230, 230, 230),
    (25, 25, 25),
    (220, 120, 30),
    (60, 220, 240),
)
FPS = (24.0, 25.0, 30.0, 50.0, 60.0)


def takes(count: int, seed: int = 11) -> list[Take]:
    """Return takes that differ in all that the renderer can change, from one seed."""
    rng = np.random.default_rng(seed)
    made = []
    while len(made) < count:
        paint, pad = PAINTS[rng.integers(6)], PADS[rng.integers(6)]
        if np.abs(np.subtract(paint, pad)).max() < 90:
            continue  # alike to the eye: refusals are shown apart
        pale = min(paint) > 150
        pad_mm = float(rng.choice([80, 100, 130, 150]))
        made.append(
            Take(
                square_mm=float(rng.uniform(2.3, 3.2) * pad_mm + 60),
                pad_mm=pad_mm,
                spacing_mm=float(pad_mm * rng.uniform(0.35, 0.6)),
                speed_mm_s=float(rng.uniform(110, 260)),
                sets=int(rng.integers(1, 4)),
                paint_bgr=paint,
                pad_bgr=pad,
                tape_bgr=(170, 90, 30) if pale else (180, 210, 215),
                fps=float(rng.choice(FPS)),
                shake_px=float(rng.uniform(0, 3)),
                tilt=float(rng.uniform(-0.2, 0.2)),
                turn_deg=float(rng.uniform(-12, 12)),
                blur_px=float(rng.uniform(0.3, 1.8)),
                noise=float(rng.uniform(1, 5)),
                glare=float(rng.uniform(0, 0.8)),
                seed=int(rng.integers(1 << 30)),
            )
        )
    return made


def judge(take: Take) -> dict[str, Any]:
    """Measure one take and return its errors."""
    settings = PadSettings(pad_diameter_mm=take.pad_mm)
    wanted = Wanted(settings=settings, preston_um_per_kpa_m=RATE)
    result = technique(frames(take), Ask(take.square_mm), wanted=wanted)
    f = result.finding
    if f.refused or result.cut is None:
        return {"refused": f.refused.why if f.refused else ""}
    return {
        "path_rms_mm": path_error_mm(f, take),
        "speed": f.arm_speed_mm_s.median / take.speed_mm_s - 1 if f.arm_speed_mm_s else None,
        "spacing": (f.stroke_spacing_mm or 0) / take.spacing_mm - 1,
        "sets_right": f.sets == take.sets,
        "iou": coverage_iou(f, take),
        "cut": cut_ratio(result, take, settings, RATE) - 1,
        "pad": (f.pad_diameter_mm or 0) / take.pad_mm - 1,
    }


def accuracy(count: int = 32, seed: int = 11) -> dict[str, Any]:
    """Return the worst errors over the takes."""
    rows = []
    for k, take in enumerate(takes(count, seed)):
        rows.append(judge(take))
        print(k, json.dumps({key: _short(v) for key, v in rows[-1].items()}), flush=True)
    judged = [r for r in rows if "refused" not in r]
    worst = {
        f"worst_{key}": max(abs(r[key]) for r in judged)
        for key in ("path_rms_mm", "speed", "spacing", "cut", "pad")
    }
    return {
        "takes": count,
        "refused": [r["refused"] for r in rows if "refused" in r],
        **worst,
        "least_iou": min(r["iou"] for r in judged),
        "sets_wrong": sum(not r["sets_right"] for r in judged),
    }


def _short(value: object) -> object:
    return round(value, 4) if isinstance(value, float) else value


def speed() -> dict[str, float]:
    """Return seconds of video per second of work, from a 1080p file, decoding included."""
    take = Take(size=(1920, 1080), square_mm=330, speed_mm_s=200, shake_px=2.0)
    with tempfile.TemporaryDirectory() as folder:
        path = write(Path(folder) / "take.mp4", take)
        begun, cpu = time.perf_counter(), time.process_time()
        finding = technique(video.frames(path), Ask(take.square_mm)).finding
        wall, cpu = time.perf_counter() - begun, time.process_time() - cpu
    seconds = finding.seconds or 0.0
    return {"video_s": seconds, "wall_s": wall, "cpu_s": cpu, "times_real_time": seconds / wall}


def memory(minutes: float = 10.0) -> dict[str, float]:
    """Return the peak memory of the process while it follows a long 1080p video [MiB]."""
    take = Take(size=(1920, 1080), square_mm=330, speed_mm_s=200, shake_px=2.0)
    with tempfile.TemporaryDirectory() as folder:
        path = write(Path(folder) / "take.mp4", take)
        finding = technique(again(path, 60 * minutes), Ask(take.square_mm)).finding
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {"seconds": finding.seconds or 0.0, "peak_mib": peak}


def again(path: Path, seconds: float) -> Iterator[tuple[float, np.ndarray]]:
    """Read a video over and over, its time going on, until `seconds` are full."""
    start = now = 0.0
    while now < seconds:
        for time_s, frame in video.frames(path):
            now = start + time_s
            yield now, frame
        start = now + 1 / 30


def main() -> dict[str, Any]:
    """Print and return accuracy, speed and memory."""
    cv2.setNumThreads(2)
    result = {"accuracy": accuracy(), "speed": speed(), "memory": memory()}
    print(json.dumps(result, indent=1))
    return result


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--takes", type=int, help="this many takes, accuracy only")
    parser.add_argument("--seed", type=int, default=11, help="another number draws other takes")
    chosen = parser.parse_args()
    if chosen.takes:
        print(json.dumps(accuracy(chosen.takes, chosen.seed), indent=1))
    else:
        main()
