"""Turn a sheet (a tree of words and pictures) into an accessible PDF.

The layout is Typst code that stands in ``templates/``; what it prints comes as a JSON file, so a
person's own words are never read as markup. Output is PDF/A-2a and PDF/UA-1: text, reading order,
headings and the description of every picture are in the file, and the compiler refuses a picture
without one. With the same data and time the bytes are the same.
"""

import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any, Literal

import msgspec

from leastcut.car.units import UnitSystem
from leastcut.errors import LeastcutError
from leastcut.handover.glyphs import FONTS, printable

Template = Literal["plan", "report", "dossier", "teaching", "quote"]
TEMPLATES = Path(__file__).parent / "templates"


class TypesetError(LeastcutError):
    """The layout could not be set: our own fault, never the user's."""


def set_pdf(
    template: Template,
    sheet: Mapping[str, Any],
    *,
    pictures: Mapping[str, bytes],
    units: UnitSystem,
    now: datetime,
) -> bytes:
    """Set one document.

    Parameters
    ----------
    template : str
        Which layout.
    sheet : mapping
        What the layout prints; every text in it is made printable first.
    pictures : mapping
        File name to content (SVG, PNG or JPEG); the sheet refers to them by name.
    units : {"metric", "us"}
        Paper follows the units: A4 or US letter.
    now : datetime
        The document's date; the same date and data give the same bytes.

    Returns
    -------
    bytes
        The PDF.

    Raises
    ------
    TypesetError
        If the layout does not compile or warns (a missing font, for example).
    """
    return manuscript(template, sheet, pictures=pictures, units=units, now=now).set()


@dataclass(frozen=True)
class Manuscript:
    """A document ready for the typesetter, which lets other threads run meanwhile."""

    template: Template
    data: Mapping[str, Any]
    pictures: Mapping[str, bytes]
    now: datetime

    def set(self) -> bytes:
        """Return the PDF.

        Raises
        ------
        TypesetError
            As from :func:`set_pdf`.
        """
        import typst

        with tempfile.TemporaryDirectory(prefix="leastcut-") as folder:
            root = Path(folder)
            _lay_out_files(root, self.data, self.pictures)
            try:
                pdf, warnings = typst.compile_with_warnings(
                    str(root / f"{self.template}.typ"),
                    root=str(root),
                    font_paths=_fonts(),
                    format="pdf",
                    pdf_standards=["a-2a", "ua-1"],
                    timestamp=int(self.now.timestamp()),
                )
            except typst.TypstError as error:
                raise TypesetError(f"cannot set the {self.template}: {error}") from error
        if warnings:
            raise TypesetError(f"setting the {self.template} warned: {warnings[0].message}")
        assert isinstance(pdf, bytes)
        return pdf


def manuscript(
    template: Template,
    sheet: Mapping[str, Any],
    *,
    pictures: Mapping[str, bytes],
    units: UnitSystem,
    now: datetime,
) -> Manuscript:
    """Return a document ready to be set; the parameters are those of :func:`set_pdf`."""
    data = clean(dict(sheet)) | {"paper": "us-letter" if units == "us" else "a4"}
    data["date"] = [now.year, now.month, now.day]
    return Manuscript(template, data, pictures, now)


@cache
def _fonts() -> Any:
    """Return the package's fonts, read once; the system's fonts are never looked at."""
    import typst

    return typst.Fonts(
        include_system_fonts=False, include_embedded_fonts=True, font_paths=[str(FONTS)]
    )


def _lay_out_files(root: Path, data: Mapping[str, Any], pictures: Mapping[str, bytes]) -> None:
    for path in TEMPLATES.glob("*.typ"):
        (root / path.name).write_bytes(path.read_bytes())
    (root / "data.json").write_bytes(msgspec.json.encode(data))
    (root / "pictures").mkdir()
    for name, content in pictures.items():
        (root / "pictures" / name).write_bytes(content)


def clean(value: Any) -> Any:
    """Return a sheet with every text made printable, its shape unchanged."""
    match value:
        case str():
            return printable(value)
        case Mapping():
            return {key: clean(part) for key, part in value.items()}
        case list() | tuple():
            return [clean(part) for part in value]
        case _:
            return value
