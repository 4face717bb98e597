"""Keep a page that is made from the code: write it anew, or say that it is stale."""

import sys
from pathlib import Path


def keep(page: Path, made: str, *, root: Path, tool: str) -> int:
    """Write `made` where the page differs, or with ``--check`` only say so; return the exit code."""
    if page.is_file() and page.read_text(encoding="utf-8") == made:
        return 0
    if "--check" in sys.argv:
        print(f"{page.relative_to(root)} is stale: run python tools/{tool}.py")
        return 1
    page.write_text(made, encoding="utf-8")
    print(f"wrote {page.relative_to(root)}")
    return 0
