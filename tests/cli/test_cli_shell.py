"""The shell: quick help, lazy imports, exit codes, one line of reason."""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import click
import pytest

from leastcut import cli
from leastcut.cli import _COMMANDS, leastcut
from leastcut.errors import LeastcutError

Run = Callable[..., subprocess.CompletedProcess[str]]

HEAVY = {
    "numpy",
    "scipy",
    "cv2",
    "shapely",
    "pint",
    "PIL",
    "typst",
    "starlette",
    "uvicorn",
    "jinja2",
}


@pytest.mark.process
def test_help_loads_nothing_heavy() -> None:
    # A list of modules, not a stopwatch: what is not loaded costs no time.
    code = (
        "import sys\nfrom leastcut.cli import main\nsys.argv = ['leastcut', '--help']\n"
        "try:\n    main()\nexcept SystemExit as end:\n    assert not end.code\n"
        "print(sorted(m for m in sys.modules if '.' not in m), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stderr.replace("'", "").strip("[]\n").split(", "))
    assert "click" in loaded
    assert not loaded & HEAVY
    for name in _COMMANDS:
        assert f"  {name} " in done.stdout


@pytest.mark.parametrize("name", list(_COMMANDS))
def test_every_command_has_help(name: str) -> None:
    with leastcut.make_context("leastcut", [name, "--help"], resilient_parsing=True) as context:
        command = leastcut.get_command(context, name)
    assert command is not None
    assert command.help


@pytest.mark.process
@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["nonsense"], 2, "No such command"),
        (["job"], 2, "Missing argument"),
        (["job", "none.toml"], 2, "none.toml: cannot read it"),
        (["--version"], 0, ""),
    ],
)
def test_exit_codes(arguments: list[str], code: int, said: str, tmp_path: Path, run: Run) -> None:
    done = run(*arguments, cwd=tmp_path)
    assert done.returncode == code
    assert said in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("error", "code", "said"),
    [
        (LeastcutError("own trouble"), 1, "own trouble"),
        (RuntimeError("a slip"), 1, "our own fault: RuntimeError: a slip"),
        (click.Abort(), 130, "stopped"),
    ],
)
def test_errors_become_exit_codes(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    error: Exception,
    code: int,
    said: str,
) -> None:
    def fail(**_: object) -> None:
        raise error

    monkeypatch.setattr(cli.leastcut, "main", fail)
    with pytest.raises(SystemExit) as end:
        cli.main()
    assert end.value.code == code
    assert said in capsys.readouterr().err
