"""Scratches from photos against general line finders: accuracy on fixed sets, speed, memory.

Run ``python bench/inspect_scratches.py [--first F] [--images N] [--peers M] [--pairs P] [--lamps L]``.
Prints a JSON document. The plain set shows scratches, haze, flake and dust; the busy set what real
photos add; both together are the fixed set. Every peer works on the same photo (root of light),
takes the same scales, is thinned to one pixel, and is given the one threshold that serves it best
over all photos, alone and with the best smallest length besides; those are photos on which nothing
here was fitted.
"""

import argparse
import json
import sys
import time
import tracemalloc
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent / "tests" / "inspect"))

import photoset
from photoscore import counts, f1, kinds_right, truth_lines
from render import MIN_LEVELS, removed, render
from render_parts import unsrgb
from render_scene import Scene, after

from _line_filters import Best, Case, Score, best_of, best_segments, counted, masked, peers
from leastcut.inspect import scratches, survey
from leastcut.inspect.combine import panel_load
from leastcut.inspect.compare import compare

TOLERANCE_PX = 3


def linear(photo: np.ndarray) -> np.ndarray:
    table = unsrgb(np.arange(256) / 255.0).astype(np.float32)
    return table[photo]


def scale_of(scene: Scene) -> dict[str, float]:
    return {"square_mm": scene.tape_mm} if scene.tape_mm else {"um_per_px": scene.um_per_px}


def chance(truth: np.ndarray, usable: np.ndarray) -> float:
    """Share of the usable area within the tolerance of a true line: what blind guessing hits."""
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * TOLERANCE_PX + 1,) * 2)
    near = cv2.dilate(truth.astype(np.uint8), disc) > 0
    return float((near & usable).sum() / max(usable.sum(), 1))


@dataclass(frozen=True)
class Row:
    """What one photo gave: counts for F1, and how its load and kinds compare with the truth."""

    counted: np.ndarray
    error: float
    held: bool
    right: np.ndarray
    floor: float


def accuracy(draw: Callable[[int], Scene], chosen: range) -> list[Row | None]:
    """Centre lines, loads and kinds on scenes; None for a photo that was refused."""
    rows: list[Row | None] = []
    for index in chosen:
        scene = draw(index)
        photo, truth = render(scene)
        image = linear(photo)
        evidence = scratches.gather(image, **scale_of(scene))
        if not isinstance(evidence, scratches.Evidence):
            rows.append(None)
            continue
        finding = scratches.conclude(evidence)
        lines = truth_lines(scene, truth)
        row = Row(
            counted=counts(scratches.centrelines(finding, image.shape), lines),
            error=finding.load_mm_per_cm2 / truth.load - 1,
            held=finding.load_low <= truth.load <= finding.load_high,
            right=kinds_right(finding, truth),
            floor=chance(lines, evidence.usable),
        )
        rows.append(row)
        print(f"{index} F1 {f1(row.counted)[2]:.3f} load {row.error:+.2f}", file=sys.stderr)
    return rows


def summary(rows: Sequence[Row | None]) -> dict[str, Any]:
    """Pool the photos of a set."""
    seen = [row for row in rows if row is not None]
    total = np.sum([row.counted for row in seen], axis=0)
    scores = [f1(row.counted)[2] for row in seen]
    errors = np.array([row.error for row in seen])
    right = np.sum([row.right for row in seen], axis=0)
    return {
        "images": len(seen),
        "refused": len(rows) - len(seen),
        "stated_contrast_levels": MIN_LEVELS,
        "f1_pooled": f1(total)[2],
        "precision": f1(total)[0],
        "recall": f1(total)[1],
        "f1_mean": float(np.mean(scores)),
        "f1_least": float(np.min(scores)),
        "load_error_median": float(np.median(np.abs(errors))),
        "load_bias_median": float(np.median(errors)),
        "load_interval_holds": float(np.mean([row.held for row in seen])),
        "kinds_right_of_length": float(right[0] / right[1]),
        "chance_precision_mean": float(np.mean([row.floor for row in seen])),
    }


UNFITTED = 300  # from this number on, nothing was fitted on a scene


def cases_of(scene: Scene) -> tuple[Case, Case]:
    """Return a photo as it is, and its part round the lamp's image with our own area to look in."""
    photo, truth = render(scene)
    image = linear(photo)
    evidence = scratches.gather(image, **scale_of(scene))
    assert isinstance(evidence, scratches.Evidence)
    root, lines = survey.root_of(evidence.grey).astype(np.float32), truth_lines(scene, truth)
    own = scratches.centrelines(scratches.conclude(evidence), image.shape)
    # The lamp's burnt-out core is left to each.
    col, row = (int(v) for v in (evidence.lamp or (1200, 900, 0))[:2])
    top, left = max(row - 550, 0), max(col - 650, 0)
    part = slice(top, top + 1100), slice(left, left + 1300)
    helped = Case(root[part], lines[part], counts(own[part], lines[part]), evidence.measured[part])
    return Case(root, lines, counts(own, lines)), helped


def rivals(each: int) -> dict[str, Any]:
    """The general filters on `each` photos of either set, and on both with one threshold each.

    On whole photos, and on parts where they are told our own area: without the lamp's image, tape,
    lint and everything else that a line finder of this job has to leave out by itself.
    """
    sets = {"plain": photoset.scene, "busy": photoset.busy_scene}
    made = {
        name: [cases_of(draw(UNFITTED + 3 * k)) for k in range(each)] for name, draw in sets.items()
    }
    return {
        how: compared({name: [pair[at] for pair in found] for name, found in made.items()})
        for at, how in enumerate(("whole_photos", "parts_in_our_own_area"))
    }


def compared(sets: dict[str, list[Case]]) -> dict[str, Any]:
    """Return every filter's best score on each set and on both, beside ours."""
    both = [case for cases in sets.values() for case in cases]
    groups = {**sets, "both": both}
    place = {id(case): k for k, case in enumerate(both)}
    scores: dict[str, dict[str, Best]] = {name: {} for name in groups}
    for filter_name, peer in peers().items():
        answers = [masked(peer(case.root), case).astype(np.float32) for case in both]
        found = counted(answers, both)
        for name, cases in groups.items():
            scores[name][filter_name] = best_of(found, [place[id(case)] for case in cases])
    result = {}
    for name, cases in groups.items():
        scores[name]["opencv_lsd"] = best_segments(cases)
        ours = Score.of([case.ours for case in cases])
        result[name] = {"photos": len(cases), "ours_f1_on_same": vars(ours)} | {
            how: _ahead({peer: vars(best)[how] for peer, best in scores[name].items()}, ours)
            for how in ("alone", "helped")
        }
        print(f"peers on {name}: {result[name]}", file=sys.stderr)
    return result


def _ahead(scores: dict[str, Score], ours: Score) -> dict[str, Any]:
    return {
        "peers_f1": {peer: vars(score) for peer, score in scores.items()},
        "ahead_pooled": ours.pooled - max(s.pooled for s in scores.values()),
        "ahead_mean_of_photos": ours.mean - max(s.mean for s in scores.values()),
    }


def several_lamps(chosen: range) -> dict[str, Any]:
    """One place under three lamp positions: how far off the load of one, two, three photos is."""
    rows = []
    for index in chosen:
        first = photoset.busy_scene(index)
        x, y = first.mirror_at
        shots = [first] + [after(first, 0.0, mirror_at=at) for at in ((1 - x, y), (x, 1 - y))]
        made = [render(shot) for shot in shots]
        load = made[0][1].load
        seen = [scratches.find(linear(photo), **scale_of(first)) for photo, _ in made]
        told = [panel_load(seen[:count]) for count in (1, 2, 3)]
        if all(told):
            rows.append([(abs(t.mean / load - 1), t.low <= load <= t.high) for t in told if t])
        print(f"lamps {index} {rows[-1:]}", file=sys.stderr)
    table = np.array(rows, dtype=float)
    names = ("one_photo", "two_photos", "three_photos")
    return {"places": len(rows)} | {
        name: {"load_error_median": float(np.median(found[:, 0])), "load_error_mean": float(found[:, 0].mean()), "holds": float(found[:, 1].mean())}
        for name, found in zip(names, table.transpose(1, 0, 2), strict=True)
    }  # fmt: skip


def pairs(chosen: range) -> dict[str, Any]:
    """Removed fraction against truth over pairs of photos, half by hand and half with a tape."""
    errors, held, refused = [], [], 0
    for index in chosen:
        rng = np.random.default_rng([11, index])
        first = photoset.pair_scene(index)
        cut = float(rng.uniform(0.25, 1.0))
        second = after(first, cut, **photoset.second_look(first, rng))
        (a, truth), (b, _) = render(first), render(second)
        found = compare(linear(a), linear(b), **scale_of(first))
        if found.refused:
            refused += 1
            print(f"pair {index} refused: {found.refused.why}", file=sys.stderr)
            continue
        true = removed(first, truth, cut)
        errors.append(found.removed_fraction - true)
        held.append(found.removed_low <= true <= found.removed_high)
        print(f"pair {index} {errors[-1]:+.3f} of {true:.2f} {held[-1]}", file=sys.stderr)
    return {
        "pairs": len(errors),
        "refused": refused,
        "removed_error_median": float(np.median(np.abs(errors))),
        "removed_bias": float(np.median(errors)),
        "removed_interval_holds": float(np.mean(held)),
    }


def speed() -> dict[str, Any]:
    """Time and memory for 12 megapixels, and the fastest scikit-image filter at the same scales."""
    scene = replace(photoset.scene(9), width_px=4000, height_px=3000, tape_mm=0.0, um_per_px=30.0)
    image = linear(render(scene)[0])
    own, busy = [], []
    for _ in range(5):
        start, used = time.perf_counter(), time.process_time()
        scratches.find(image, um_per_px=scene.um_per_px)
        own.append(time.perf_counter() - start)
        busy.append(time.process_time() - used)
    tracemalloc.start()
    scratches.find(image, um_per_px=scene.um_per_px)
    peak = tracemalloc.get_traced_memory()[1] + image.nbytes
    tracemalloc.stop()
    root = survey.root_of(survey.grey_of(image))
    other = {}
    for name, peer in peers().items():
        start = time.perf_counter()
        peer(root)
        other[name] = time.perf_counter() - start
    fastest = min(v for k, v in other.items() if k != "plain_hessian")
    return {
        "find_12mp_s": min(own),
        "find_12mp_processor_s": min(busy),  # what a busy machine does not disturb
        "peak_gib_with_photo": peak / 2**30,
        "peers_filter_alone_s": other,
        "times_faster_than_fastest_skimage": fastest / min(own),
    }


def retina() -> dict[str, Any]:
    """Retinal vessels (scikit-image's photo), which carry no truth: agreement with the majority.

    Vessels are dark, so the photo is turned to its negative. Reference: what at least two of the
    three published vessel filters mark, each at the level that marks 8 % of the disc.
    """
    from skimage import data, filters
    from skimage.morphology import skeletonize

    green = data.retina()[..., 1].astype(np.float32) / 255
    disc = (
        cv2.erode((cv2.GaussianBlur(green, (0, 0), 8) > 0.08).astype(np.uint8), np.ones((41, 41)))
        > 0
    )
    negative = (1 - green).astype(np.float32)
    votes = np.zeros(green.shape, int)
    for peer in (filters.frangi, filters.sato, filters.meijering):
        response = peer(negative, sigmas=(2, 4), black_ridges=False)
        votes += response > np.quantile(response[disc], 0.92)
    reference = skeletonize((votes >= 2) & disc)
    result = {}
    for name, chosen in (("every_line", False), ("lines_taken_for_scratches", True)):
        lines = survey.find_lines(
            negative**2, negative, disc, um_per_px=20.0, only_scratches=chosen
        )
        canvas = np.zeros(green.shape, np.uint8)
        drawn = [np.round(np.array(p)).astype(np.int32) for p in scratches.polylines(lines)]
        cv2.polylines(canvas, drawn, False, 255, 1)
        precision, recall, both = f1(counts(canvas, reference))
        result[name] = {"agreement_f1": both, "precision": precision, "recall": recall}
    return result


def main(argv: Sequence[str] | None = None) -> dict[str, Any]:
    options = argparse.ArgumentParser()
    options.add_argument("--first", type=int, default=0, help="300 and more: nobody fitted there")
    options.add_argument("--images", type=int, default=photoset.COUNT)
    options.add_argument(
        "--peers",
        type=int,
        default=8,
        help="photos of either set for the general filters; 0 for none",
    )
    options.add_argument("--lamps", type=int, default=12, help="places under several lamps")
    options.add_argument("--pairs", type=int, default=60)
    chosen = options.parse_args(argv or [])
    images = range(chosen.first, chosen.first + chosen.images)
    result: dict[str, Any] = {"speed": speed(), "retina": retina()}
    if chosen.images:
        plain = accuracy(photoset.scene, images)
        busy = accuracy(photoset.busy_scene, images)
        result |= {"plain": summary(plain), "busy": summary(busy), "both": summary(plain + busy)}
    if chosen.peers:
        result["peers"] = rivals(chosen.peers)
    if chosen.lamps:
        result["lamps"] = several_lamps(range(UNFITTED, UNFITTED + chosen.lamps))
    if chosen.pairs:
        result["compare"] = pairs(range(chosen.first, chosen.first + chosen.pairs))
    print(json.dumps(result, indent=1))
    return result


if __name__ == "__main__":
    main(sys.argv[1:])
