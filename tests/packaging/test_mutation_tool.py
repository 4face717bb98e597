"""The tool that measures how well the tests bite: what is noticed and what is not, on a planted case."""

import subprocess
import sys
from pathlib import Path

TOOLS = Path(__file__).parents[2] / "tools"
SOURCE = '''"""Two sums."""


def twice(x: float) -> float:
    """Return the double.

    >>> twice(2.0) / 2.0
    2.0
    """
    return 2.0 * x


def fits(x: float, most: float = 10.0) -> bool:
    """Tell whether it fits."""
    return x <= most
'''
TESTS = """from inspect import signature

from leastcut.sums.plus import fits, twice


def test_twice():
    assert twice(3.0) == 6.0


def test_fits():
    assert fits(3.0) and not fits(30.0)
    assert signature(fits).parameters["most"].default == 10.0
"""
SCRIPT = """
import sys
from pathlib import Path

sys.path.insert(0, sys.argv[1])
import mutation

mutation.ROOT, mutation.OUT = Path.cwd(), Path("out")
mutation.PACKAGES = (mutation.Package("sums", ("sums/*.py",), ("tests",)),)
sys.exit(mutation.main(["--sample", "99"]))
"""


def measured(root: Path) -> str:
    told = subprocess.run(
        [sys.executable, "-c", SCRIPT, TOOLS],
        cwd=root,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert told.returncode == 0, told.stderr
    return told.stdout


def test_a_planted_change_is_noticed_and_a_planted_gap_is_named(tmp_path: Path) -> None:
    package = tmp_path / "src" / "leastcut" / "sums"
    package.mkdir(parents=True)
    (tmp_path / "tests").mkdir()
    (tmp_path / "pyproject.toml").write_text("[tool.pytest.ini_options]\n", encoding="utf-8")
    (package.parent / "__init__.py").touch()
    (package / "__init__.py").touch()
    (package / "plus.py").write_text(SOURCE, encoding="utf-8")
    (tmp_path / "tests" / "test_plus.py").write_text(TESTS, encoding="utf-8")
    # 2 -> 3, x -> /, and the default 10 -> 11 are noticed; <= -> < at the limit itself is not
    assert "| sums | 4 | 3 | 0 | 1 | 75.0% | 30.1% to 95.4% |" in measured(tmp_path)
    left = (tmp_path / "out" / "sums.diff").read_text(encoding="utf-8")
    assert left.count("# leastcut.") == 1
    assert "-    return x <= most\n+    return x < most\n" in left
