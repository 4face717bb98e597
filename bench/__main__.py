"""``python -m bench [NAME …]``: run the benches and keep their figures as JSON.

Each module beside this one has a ``main()`` that prints its figures and returns them; ratios to a
general-purpose peer are taken within the same run.
"""

import importlib
import json
import sys
from pathlib import Path

HERE = Path(__file__).parent
OUT = HERE.parent / "out" / "bench.json"


def names() -> list[str]:
    """Return the benches by module name."""
    return sorted(path.stem for path in HERE.glob("*.py") if not path.stem.startswith("_"))


def main(wanted: list[str]) -> int:
    """Run the wanted benches, all without a name; return the exit code."""
    unknown = set(wanted) - set(names())
    if unknown:
        print(f"no bench {', '.join(sorted(unknown))}; there are {', '.join(names())}")
        return 2
    # A bench may lean on the tests' renderers, which live in folders of the tests.
    sys.path[:0] = [str(HERE), *(str(p) for p in (HERE.parent / "tests").iterdir() if p.is_dir())]
    found = {}
    for name in wanted or names():
        print(f"== {name}", flush=True)
        found[name] = importlib.import_module(name).main()
    OUT.parent.mkdir(exist_ok=True)
    OUT.write_text(json.dumps(found, indent=1, default=str) + "\n")
    print(f"kept in {OUT.relative_to(HERE.parent)}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
