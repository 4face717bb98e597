"""The manual page and the shells' completion, both made from the commands."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from test_docs_evidence import maker

from leastcut.cli import _COMMANDS

MAN = maker("make_man")


def test_the_manual_page_has_every_command_and_exit_code() -> None:
    page = MAN.page()
    for name in _COMMANDS:
        assert f"\n.SS {name}" in page
    assert "\n.SS inspect scratches\n" in page
    assert "\\-\\-square\\-mm" in page
    assert all(f".B {code}\n" in page for code in range(4))
    assert not [line for line in page.splitlines() if not line.strip()]


@pytest.mark.parametrize(
    ("text", "safe"),
    [(".TH x", "\\&.TH x"), ("'x", "\\&'x"), ("a\\b", "a\\eb"), ("--out", "\\-\\-out")],
)
def test_no_text_is_taken_for_a_request(text: str, safe: str) -> None:
    assert MAN.plain(text) == safe


@pytest.mark.process
def test_the_manual_page_is_fresh() -> None:
    # By a process of its own: a command that was called here keeps the help option of that call.
    command = [sys.executable, MAN.ROOT / "tools" / "make_man.py", "--check"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.process
def test_the_manual_page_is_sound_roff() -> None:
    if (groff := shutil.which("groff")) is None:
        pytest.skip("groff is not installed")
    read = subprocess.run(
        [groff, "-man", "-Tutf8", "-ww", "-rLL=200n", MAN.KEPT],
        capture_output=True,
        text=True,
        check=True,
    )
    assert read.stderr == ""
    assert "EEXXIITT SSTTAATTUUSS" in read.stdout.replace("\b", "") or "EXIT STATUS" in read.stdout


@pytest.mark.process
@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_scripts_are_given(shell: str) -> None:
    done = subprocess.run(
        [Path(sys.executable).with_name("leastcut")],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "_LEASTCUT_COMPLETE": f"{shell}_source"},
    )
    if shell == "bash" and "not supported" in done.stderr:
        pytest.skip("this machine's bash is too old for completion")
    assert "_LEASTCUT_COMPLETE" in done.stdout, done.stderr


@pytest.mark.process
def test_completion_answers_with_commands_and_options() -> None:
    def asked(words: str, at: int) -> str:
        env = {"_LEASTCUT_COMPLETE": "bash_complete", "COMP_WORDS": words, "COMP_CWORD": str(at)}
        done = subprocess.run(
            [Path(sys.executable).with_name("leastcut")],
            capture_output=True,
            text=True,
            check=False,
            env={**os.environ, **env},
        )
        return done.stdout

    assert "plain,inspect" in asked("leastcut ins", 1)
    assert "--square-mm" in asked("leastcut inspect scratches --sq", 3)
