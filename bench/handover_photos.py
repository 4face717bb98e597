"""A report with forty camera-sized photos: seconds and bytes."""

import json
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "handover"))

import msgspec
from handover_job import NOW, build_dossier
from test_report_photos import noisy

from leastcut.handover import report_html, report_pdf


def main() -> dict[str, float]:
    """Print and return seconds and megabytes for forty photos of 12 megapixels."""
    dossier = build_dossier()
    names = [f"shot-{n}.jpg" for n in range(40)]
    found = tuple(msgspec.structs.replace(dossier.photos[0], photo=name) for name in names)
    job = msgspec.structs.replace(dossier, photos=found)
    photos = {name: noisy(1, (4000, 3000), turn=31 * n) for n, name in enumerate(names)}
    result = {"photos": 40, "input_mb": sum(map(len, photos.values())) / 1e6}
    for name, make in (("pdf", report_pdf.make), ("html", report_html.make)):
        start = time.perf_counter()
        made = make(job, now=NOW, photos=photos)
        result[f"{name}_seconds"] = time.perf_counter() - start
        result[f"{name}_mb"] = len(made) / 1e6
    print(json.dumps(result, indent=1))
    return result


if __name__ == "__main__":
    main()
