"""The printed target drawn with cv2 from the plan of the sheet: a code path of its own."""

import cv2
import numpy as np

from leastcut.inspect import target


def sheet_picture(px_per_mm: float) -> np.ndarray:
    """Return the sheet, 1 for paper and 0 for ink, with 25 mm of paper round its square."""
    sheet = np.ones((round(150 * px_per_mm),) * 2, np.float32)

    def at(v: float) -> int:
        return round((v + 25) * px_per_mm)

    sheet[at(-6) : at(106), at(-6) : at(106)] = 0
    sheet[at(0) : at(100), at(0) : at(100)] = 1
    for band in target.bands():
        for x in band.bars:
            left, right = (x + 25) * px_per_mm, (x + band.bar_mm + 25) * px_per_mm
            ends = (
                (round(left * 16), at(band.y) * 16),
                (round((right - 1) * 16), at(band.y + band.height) * 16),
            )
            cv2.rectangle(sheet, *ends, 0.0, -1, cv2.LINE_AA, 4)
    for x, y, filled in target.marks():
        if filled:
            sheet[at(y - 2.5) : at(y + 2.5), at(x - 2.5) : at(x + 2.5)] = 0
    return sheet
