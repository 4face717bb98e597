"""What a batch asks of every file: the scratches in a photo, the technique in a video."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import Any, ClassVar

from leastcut.job.look import ANALYSIS

FOLLOWING = "technique-1"  # goes up when takes are measured otherwise than before


@dataclass(frozen=True, kw_only=True)
class Scratches:
    """How the photos tell their scale: typed, by a square, or by a printed target (neither)."""

    um_per_px: float | None = None
    square_mm: float | None = None

    thing: ClassVar[str] = "photo"
    small: ClassVar[bool] = True
    remedy: ClassVar[str] = "Save it anew as a JPEG of at most 50 megapixels"
    endings: ClassVar[frozenset[str]] = frozenset(
        {".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif"}
    )
    columns: ClassVar[tuple[str, ...]] = (
        "um_per_px", "scale_from", "area_cm2", "load_mm_per_cm2", "load_low", "load_high",
        "load_seen_mm_per_cm2", "swirl", "trail", "deep", "haze",
    )  # fmt: skip

    @property
    def name(self) -> str:
        """What rows of this analysis are marked with."""
        if self.um_per_px is not None:
            return f"{ANALYSIS} {self.um_per_px:g} um/px"
        return (
            f"{ANALYSIS} target" if self.square_mm is None else f"{ANALYSIS} {self.square_mm:g} mm"
        )

    def found(self, path: Path, content: bytes | None) -> dict[str, Any]:
        """Measure the scratches in one photo.

        Raises
        ------
        InputError
            If it is no photo.
        """
        from leastcut.inspect import scratches
        from leastcut.shop import photos

        photo = photos.load(path) if content is None else photos.decode(content, str(path))
        finding = scratches.find(photo.linear, **asdict(self))
        kinds, refused = finding.by_kind, finding.refused
        values = {name: getattr(finding, name, None) for name in self.columns}
        if kinds is not None:
            values |= {"swirl": kinds.swirl, "trail": kinds.trail, "deep": kinds.deep}
        return values | ({"why": refused.why, "do": refused.do} if refused else {})


@dataclass(frozen=True, kw_only=True)
class Takes:
    """What is known of the videos ahead: the taped square, and perhaps the pad's diameter."""

    square_mm: float
    pad_mm: float | None = None

    thing: ClassVar[str] = "video"
    small: ClassVar[bool] = False
    remedy: ClassVar[str] = "Save it anew as MP4 (H.264), at most 1920 pixels wide"
    endings: ClassVar[frozenset[str]] = frozenset({".mp4", ".mov", ".avi", ".webm", ".mkv", ".m4v"})
    columns: ClassVar[tuple[str, ...]] = (
        "fps", "seconds", "worked_s", "pad_diameter_mm", "arm_speed_mm_s", "arm_speed_p05_mm_s",
        "arm_speed_p95_mm_s", "stroke_spacing_mm", "overlap_fraction", "sets",
        "coverage_fraction", "edge_s", "tape_s", "lifted_s", "unseen_s",
    )  # fmt: skip

    @property
    def name(self) -> str:
        """What rows of this analysis are marked with."""
        pad = "" if self.pad_mm is None else f" pad {self.pad_mm:g} mm"
        return f"{FOLLOWING} {self.square_mm:g} mm{pad}"

    def found(self, path: Path, content: bytes | None) -> dict[str, Any]:
        """Measure the technique in one video.

        Raises
        ------
        InputError
            If it is no video.
        """
        from leastcut.shop import video
        from leastcut.work.follow import Ask
        from leastcut.work.technique import technique

        ask = Ask(square_mm=self.square_mm, pad_diameter_mm=self.pad_mm)
        with _here(path, content) as file:
            finding = technique(video.frames(file), ask).finding
        speed, refused = finding.arm_speed_mm_s, finding.refused
        values = {name: getattr(finding, name, None) for name in self.columns}
        if speed is not None:
            values["arm_speed_mm_s"] = speed.median
            values["arm_speed_p05_mm_s"], values["arm_speed_p95_mm_s"] = speed.p05, speed.p95
        return values | ({"why": refused.why, "do": refused.do} if refused else {})


@contextmanager
def _here(path: Path, content: bytes | None) -> Iterator[Path]:
    """Give a file that this machine can open: the reader of videos takes no bytes."""
    if content is None:
        yield path
        return
    with NamedTemporaryFile(suffix=path.suffix) as file:
        file.write(content)
        file.flush()
        yield Path(file.name)
