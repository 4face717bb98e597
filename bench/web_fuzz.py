"""Fuzz every parser that meets bytes from outside, for as long as is given.

Inputs begin as valid files and are broken by Hypothesis: bytes flipped, cut, doubled, swapped for
tokens that parsers trip over, two inputs spliced. What gives an outcome not seen before is kept and
broken further; at the end it is written to ``tests/data/fuzz``, where a test replays it. An input
that crashes is shrunk, kept, and told.

    python -m bench web_fuzz          # two minutes
    python bench/web_fuzz.py 10 job   # ten minutes of one parser
"""

import hashlib
import json
import sys
import time
import warnings
from collections import Counter
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent / "tests"), str(HERE.parent / "tests" / "web")]

from hypothesis import HealthCheck, Phase, given, settings  # noqa: E402
from hypothesis import strategies as st  # noqa: E402
from parsers import BEGINNINGS, PARSERS, outcome  # noqa: E402

CORPUS = HERE.parent / "tests" / "data" / "fuzz"
MINUTES = 2.0
MOST_KEPT, LONGEST_KEPT, ROUND = 24, 3000, 120
TOKENS = (
    b"\x00", b"\xff\xfe", b"\xed\xa0\x80", b"\xef\xbb\xbf", b"1e999", b"-1", b"nan", b"inf", b"9" * 40,
    b"0.1e-400", b"true", b"null", b"[", b"]" * 40, b"{" * 40, b"[[" * 40, b'"', b"'''", b"\\ud800",
    b"\r", b"\n", b"\t", b";", b",", b"=", b"2026-02-30", b"25:61", "٣".encode(), "\u202e".encode(),
    b"\xff" * 8, b"\x00\x00\x00\x00", b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff", b"a" * 3000, b"--x",
)  # fmt: skip


@st.composite
def broken(draw: st.DrawFn, known: list[bytes]) -> bytes:
    data = draw(st.sampled_from(known))
    for _ in range(draw(st.integers(1, 6))):
        at = draw(st.integers(0, len(data)))
        how = draw(st.sampled_from(["flip", "cut", "drop", "double", "token", "token", "splice"]))
        if how == "flip" and at < len(data):
            data = data[:at] + bytes([draw(st.integers(0, 255))]) + data[at + 1 :]
        elif how == "cut":
            data = data[:at]
        elif how == "drop":
            data = data[:at] + data[at + draw(st.integers(1, 40)) :]
        elif how == "double":
            data = data[:at] + data[at : at + draw(st.integers(1, 200))] * 2 + data[at:]
        elif how == "token":
            width = draw(st.integers(0, 12))
            data = data[:at] + draw(st.sampled_from(TOKENS)) + data[at + width :]
        elif how == "splice":
            other = draw(st.sampled_from(known))
            data = data[:at] + other[draw(st.integers(0, len(other))) :]
    return data


def fuzz(name: str, seconds: float) -> dict[str, object]:
    """Fuzz one parser for a while; return how many inputs, outcomes and crashes there were."""
    folder = CORPUS / name
    known = [*BEGINNINGS[name], *(path.read_bytes() for path in sorted(folder.glob("*.bin")))]
    seen, kept, crashes = Counter[str](), dict[str, bytes](), dict[str, bytes]()
    slowest, end_s = 0.0, time.monotonic() + seconds
    while time.monotonic() < end_s:

        @settings(
            max_examples=ROUND,
            deadline=None,
            database=None,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        @given(data=broken(known))
        def attempt(data: bytes) -> None:
            nonlocal slowest
            if time.monotonic() > end_s:
                return
            begun = time.perf_counter()
            what, crash = outcome(name, data)
            slowest = max(slowest, time.perf_counter() - begun)
            if crash is not None and (what not in crashes or len(data) < len(crashes[what])):
                crashes[what] = data
            if what not in seen and len(data) <= LONGEST_KEPT and len(kept) < MOST_KEPT:
                kept[what] = data
            seen[what] += 1

        attempt()
        known = [*BEGINNINGS[name], *kept.values()]
    keep(folder, [*crashes.values()], most=10**6)
    keep(folder, [*kept.values()], most=MOST_KEPT)
    return {
        "inputs": seen.total(),
        "outcomes": len(seen),
        "crashes": {what: repr(data[:200]) for what, data in crashes.items()},
        "slowest_s": round(slowest, 2),
    }


def keep(folder: Path, inputs: list[bytes], *, most: int) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for data in inputs:
        path = folder / f"{hashlib.sha256(data).hexdigest()[:16]}.bin"
        if len(list(folder.glob("*.bin"))) < most:
            path.write_bytes(data)


def main(minutes: float = MINUTES, names: tuple[str, ...] = ()) -> dict[str, object]:
    warnings.simplefilter("ignore")
    chosen = names or tuple(PARSERS)
    found: dict[str, object] = {}
    for name in chosen:
        found[name] = fuzz(name, 60 * minutes / len(chosen))
        print(name, json.dumps(found[name]), flush=True)
    return found


if __name__ == "__main__":
    result = main(float(sys.argv[1]) if len(sys.argv) > 1 else MINUTES, tuple(sys.argv[2:]))
    sys.exit(any(one["crashes"] for one in result.values()))  # type: ignore[index]
