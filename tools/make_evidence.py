"""Make docs/evidence.md: every check of tests/evidence with what leastcut computes now.

``python tools/make_evidence.py`` writes it; ``--check`` only says whether it is stale and exits 1.
"""

import sys
from collections import Counter
from collections.abc import Iterable
from itertools import groupby
from pathlib import Path

from kept import keep

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "tests" / "evidence"))

from allchecks import every  # noqa: E402
from published import Check  # noqa: E402

PAGE = ROOT / "docs" / "evidence.md"
DIGITS = 10  # shown at most: beyond, the last figures differ from machine to machine
ABOUT = {
    "seen": "read in the source",
    "seen-2": "read in a reprint of the source",
    "recomputed": "computed from the stated formula by other code than ours",
    "memory": "recalled and not looked up: shown, never counted, no test leans on it",
}
HEAD = """# Evidence

A number is worth what it was checked against. This page lists values of published tables, worked
examples and open data sets beside what leastcut computes for the same inputs. It is made from the
tests: `python tools/make_evidence.py` computes every figure in the column *ours* anew, and a test
fails when one leaves its tolerance or when this page is stale.

*As printed* means that ours, rounded as the source rounds, gives the same digits. Where print and
formula differ, the row says why, and the test makes sure that they still differ.
"""
LIMITS = """## What this does not prove

These are checks of arithmetic, statistics and optics. They do not show that a photo of real paint
is read rightly, or that a process cuts what the model expects: those figures come from rendered
photos and invented cars, and stand with their failures on the [accuracy](accuracy.md) page. No
measured wear rate of clear coat under a polishing pad has been published, so the mechanics of the
pad are checked against other code only, and the rate itself is learnt from trials.
"""


def shown(value: float, printed: str) -> str:
    """Return ours with a little more than the digits of print."""
    figures = sum(letter.isdigit() for letter in printed.lower().partition("e")[0].lstrip("-0."))
    return f"{value:.{min(DIGITS, max(4, figures + 2))}g}"


def cell(text: str) -> str:
    """Return text that cannot break a table."""
    return text.replace("|", "\\|").replace("<", "&lt;")


def verdict(check: Check) -> str:
    """Say how ours stands beside the printed value."""
    if not check.agrees:
        return f"differs: {check.note}"
    return check.allowed if check.met else f"not met ({check.allowed})"


def rows(checks: Iterable[Check]) -> list[str]:
    """Return a table of checks."""
    lines = ["| what | inputs | source says | ours | held to | status |", "| --- | --- | --- | --- | --- | --- |"]  # fmt: skip
    for c in checks:
        unit = c.unit.partition(" to ")[0]
        told = (c.quantity.what, c.inputs or "–", f"{c.printed} {unit}".strip(), shown(c.ours, c.printed), verdict(c), c.status)  # fmt: skip
        lines.append(f"| {' | '.join(map(cell, told))} |")
    return [*lines, ""]


def counts(checks: tuple[Check, ...]) -> list[str]:
    """Return how many checks there are, by status and by source."""
    good = [c for c in checks if c.published and c.agrees]
    lines = [
        f"**{len(good)} values from {len({c.source for c in good})} published tables, pages and examples**, all met.",
        "They are of unequal rank: standards and certified data first, then handbooks, then worked",
        "examples on public pages, which show arithmetic only. Several stand on one standard. Besides:",
        "",
    ]
    by_status = Counter(c.status for c in checks if c not in good and c.agrees)
    lines += [f"- {by_status[s]} {s}: {ABOUT[s]}" for s in ("recomputed", "memory")]
    lines += [
        f"- {sum(not c.agrees for c in checks)} where print and formula differ, with the reason",
        "",
        "Status *seen*: read in the source; *seen-2*: read in a reprint of it.",
        "",
        "## Sources",
        "",
        "| published source | values met |",
        "| --- | ---: |",
    ]
    by_source = Counter(c.source for c in good)
    lines += [f"| {cell(source)} | {n} |" for source, n in sorted(by_source.items())]
    return [*lines, ""]


def page(checks: tuple[Check, ...]) -> str:
    """Return the page."""
    text = [HEAD, *counts(checks), LIMITS]
    by_chapter = sorted(checks, key=lambda c: (c.quantity.chapter, c.source))
    for chapter, of_chapter in groupby(by_chapter, key=lambda c: c.quantity.chapter):
        text += [f"## {chapter}", "", f"How these numbers are computed: [{chapter}]({chapter}.md).", ""]  # fmt: skip
        for source, group in groupby(of_chapter, key=lambda c: c.source):
            text += [f"**{cell(source)}**", "", *rows(group)]
    return "\n".join(text).rstrip() + "\n"


def main() -> int:
    """Write the page, or with ``--check`` say whether it is stale."""
    return keep(PAGE, page(every()), root=ROOT, tool="make_evidence")


if __name__ == "__main__":
    sys.exit(main())
