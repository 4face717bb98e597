"""Make docs/glossary.md from the words that the workbench explains (web/glossary.py).

``python tools/make_glossary.py`` writes it; ``--check`` only says whether it is stale and exits 1.
"""

import sys
from pathlib import Path

from kept import keep
from leastcut.web.glossary import TERMS

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "glossary.md"
HEAD = """# Glossary

The words of the trade and ours, as the workbench explains them beside its figures. This page is
made from there: `python tools/make_glossary.py`.
"""


def page() -> str:
    """Return the page, words in order of the alphabet."""
    terms = sorted(TERMS.values(), key=lambda term: term.word)
    return "\n".join([HEAD, *(f"{term.word}\n: {term.text}\n" for term in terms)])


def main() -> int:
    """Write the page, or with ``--check`` say whether it is stale."""
    return keep(PAGE, page(), root=ROOT, tool="make_glossary")


if __name__ == "__main__":
    sys.exit(main())
