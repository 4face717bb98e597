"""Print the target: a vector PDF in true size."""

import tempfile
from pathlib import Path

from leastcut.errors import InputError
from leastcut.inspect import target

_FONTS = Path(__file__).parent.parent / "handover" / "fonts"


class TargetError(InputError):
    """A target that cannot be printed as asked."""


def pdf(paper: str = "a4") -> bytes:
    """Return the printable target as a PDF.

    Parameters
    ----------
    paper : str
        ``a4`` or ``letter``.

    Raises
    ------
    TargetError
        For any other paper.
    """
    if paper not in target.PAPERS:
        raise TargetError(
            f"unknown paper {paper!r}", do=f"Choose one of {', '.join(target.PAPERS)}"
        )
    import typst

    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        (root / "target.svg").write_text(target.svg(paper), "utf-8")
        (root / "target.typ").write_text(target.typst(paper), "utf-8")
        made = typst.compile(
            root / "target.typ",
            root=root,
            font_paths=[_FONTS],
            ignore_system_fonts=True,
            timestamp=0,
        )
    assert isinstance(made, bytes)
    return made
