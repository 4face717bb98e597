"""``python -m bench``: every quick bench, one table, in less than ten minutes.

``python -m bench NAME …`` runs whole benches by module name instead: each module beside this one
has a ``main()`` that prints its figures and returns them. ``--keep`` takes this run's ratios as the
mark for the next; ``--page`` puts the table that was kept into docs/speed.md.

Kept in out/bench.json and out/bench.svg. Exit 1 when a ratio fell below two thirds of the mark.
"""

import importlib
import json
import resource
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
ROOT = HERE.parent
OUT = ROOT / "out" / "bench.json"
LAST = HERE / "last.json"
PAGE = ROOT / "docs" / "speed.md"
WHOLE_S = 570.0  # of ten minutes
ONE_S = 240.0

# A bench may lean on the tests' renderers, which live in folders of the tests.
sys.path[:0] = [str(HERE), *(str(p) for p in (ROOT / "tests").iterdir() if p.is_dir())]

import _show  # noqa: E402
from _quick import QUICK  # noqa: E402

MARK = "<!-- made: python -m bench --page -->"
END = "<!-- end -->"


def names() -> list[str]:
    """Return the benches by module name."""
    return sorted(path.stem for path in HERE.glob("*.py") if not path.stem.startswith("_"))


def one(name: str) -> int:
    """Run one quick bench in this process; its rows are the last line that it prints."""
    rows = QUICK[name]()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    peak_mib = peak / 2**20 if sys.platform == "darwin" else peak / 2**10
    print(json.dumps([{"peak_mib": peak_mib, **row} for row in rows]))
    return 0


def apart(name: str, limit_s: float) -> list[dict[str, Any]] | str:
    """Run a quick bench in a process of its own; return its rows, or why there are none."""
    command = [sys.executable, "-m", "bench", "--one", name]
    try:
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True, timeout=limit_s)  # fmt: skip
    except subprocess.TimeoutExpired:
        return f"not done within {limit_s:.0f} s"
    except subprocess.CalledProcessError as error:
        return (error.stderr.strip().splitlines() or ["failed"])[-1]
    found: list[dict[str, Any]] = json.loads(done.stdout.strip().splitlines()[-1])
    return found


def quick(*, keep: bool) -> int:
    """Run every quick bench and show the table; return the exit code."""
    begun = time.monotonic()
    rows: list[dict[str, Any]] = []
    left_out = {}
    for name in QUICK:
        rest = WHOLE_S - (time.monotonic() - begun)
        found = apart(name, min(ONE_S, rest)) if rest > 5.0 else "no time left"
        if isinstance(found, str):
            left_out[name] = found
        else:
            rows += found
        print(f"{name}: {time.monotonic() - begun:.0f} s", file=sys.stderr, flush=True)
    print(_show.table(rows))
    return kept(rows, left_out, seconds=time.monotonic() - begun, keep=keep)


def kept(rows: list[dict[str, Any]], left_out: dict[str, str], *, seconds: float, keep: bool) -> int:  # fmt: skip
    """Keep figures and picture, compare with the mark; return the exit code."""
    when = datetime.now(UTC).isoformat(timespec="seconds")
    OUT.parent.mkdir(exist_ok=True)
    whole = {"when": when, "seconds": round(seconds), "rows": rows, "left_out": left_out}
    OUT.write_text(json.dumps(whole, indent=1) + "\n", encoding="utf-8")
    OUT.with_suffix(".svg").write_text(_show.picture(rows), encoding="utf-8")
    last = json.loads(LAST.read_text(encoding="utf-8")) if LAST.is_file() else {}
    worse = _show.slower(rows, last)
    ratios = {_show.key_of(r): round(r["ratio"], 3) for r in rows if "ratio" in r}
    if keep:
        LAST.write_text(json.dumps(last | ratios, indent=1) + "\n", encoding="utf-8")
    print(f"\n{seconds:.0f} s; kept in out/bench.json, drawn in out/bench.svg")
    for name, why in left_out.items():
        print(f"left out {name}: {why}")
    for line in worse:
        print(f"slower than it was: {line}")
    return 1 if worse or left_out else 0


def page() -> int:
    """Put the table that was kept into the speed chapter."""
    whole = json.loads(OUT.read_text(encoding="utf-8"))
    text = PAGE.read_text(encoding="utf-8")
    before, _, rest = text.partition(MARK)
    _, _, after = rest.partition(END)
    told = f"Measured {whole['when'][:10]} with `make bench` on two shared cores, {whole['seconds']} s in all:"
    table = _show.markdown(whole["rows"])
    PAGE.write_text(f"{before}{MARK}\n{told}\n\n{table}\n{END}{after}", encoding="utf-8")
    return 0


def full(wanted: list[str]) -> int:
    """Run whole benches by name; return the exit code."""
    unknown = set(wanted) - set(names())
    if unknown:
        print(f"no bench {', '.join(sorted(unknown))}; there are {', '.join(names())}")
        return 2
    found = {}
    for name in wanted:
        print(f"== {name}", flush=True)
        found[name] = importlib.import_module(name).main()
    OUT.parent.mkdir(exist_ok=True)
    path = OUT.with_name("bench-full.json")
    path.write_text(json.dumps(found, indent=1, default=str) + "\n", encoding="utf-8")
    print(f"kept in {path.relative_to(ROOT)}")
    return 0


def main(words: list[str]) -> int:
    """Run what the words ask for."""
    if words[:1] == ["--one"]:
        return one(words[1])
    if words == ["--page"]:
        return page()
    if not words or words == ["--keep"]:
        return quick(keep="--keep" in words)
    return full(words)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
