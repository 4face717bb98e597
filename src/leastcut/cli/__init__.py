"""The commands. Each stage's module is loaded only when its command is called.

This is the shell: here alone an error becomes an exit code. 0 done, 1 our own fault, 2 bad input
(one line, no traceback), 3 answered but refused to judge.
"""

import importlib
import os
import sys
from typing import NoReturn

import click

from leastcut import __version__
from leastcut.errors import InputError, LeastcutError

# command -> (module, attribute, one line of help): known without loading anything.
_COMMANDS: dict[str, tuple[str, str, str]] = {
    "demo": ("job", "demo", "Run the invented car through every stage."),
    "job": ("job", "job", "Take a job file through every stage; write plan and handover."),
    "check": ("job", "check", "Say what is wrong in a job file and what evidence would help."),
    "car": ("car", "group", "Bodies, outlines and the pattern sheet."),
    "inspect": ("inspect", "group", "Scratches in photos, film thickness, clarity, targets."),
    "polish": ("polish", "group", "What a pad removes, where, and how warm it gets."),
    "testspot": ("testspot", "testspot", "Which process next, which process for the car."),
    "plan": ("plan", "group", "Sections, strokes, choice of process, time and price."),
    "work": ("work", "group", "The run: technique from video, records, proof."),
    "safety": ("safety", "group", "Vibration, noise, vapour, cord."),
    "protect": ("protect", "group", "When the last layer may go on."),
    "handover": ("handover", "group", "Reports, care sheet, clear-coat ledger."),
    "shop": ("shop_people", "group", "The shop's record: backup, restore, check, move, room."),
    "doctor": ("doctor", "doctor", "What is installed, what is missing, how to put it right."),
    "serve": ("serve", "serve", "Open the workbench, here or for phones too."),
}


class _Stages(click.Group):
    """A group that lists its commands from a table and loads one when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        del ctx
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        del ctx
        if cmd_name not in _COMMANDS:
            return None
        module, attribute, _ = _COMMANDS[cmd_name]
        found = getattr(importlib.import_module(f"leastcut.cli.{module}"), attribute)
        assert isinstance(found, click.Command)
        return found

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        del ctx
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, _, line) in _COMMANDS.items()])


@click.group(cls=_Stages, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="leastcut")
def leastcut() -> None:
    """Paint correction with the least cut: inspect, test, plan, work, prove, hand over.

    Start with `leastcut demo`, or write a job file and run `leastcut check JOB.toml`.
    """


def _fail(code: int, *lines: str) -> NoReturn:
    for line in lines:
        click.echo(f"leastcut: {line}", err=True)
    sys.exit(code)


def main() -> NoReturn:
    """Run the command line and turn every outcome into an exit code."""
    try:
        code = leastcut.main(standalone_mode=False)
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    except click.Abort:
        _fail(130, "stopped")
    except InputError as error:
        problems = getattr(error, "problems", None) or (error.problem(),)
        _fail(2, *(str(problem).replace("\n", " ") for problem in problems))
    except LeastcutError as error:
        _fail(1, str(error))
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except Exception as error:
        if os.environ.get("LEASTCUT_TRACE"):
            raise
        _fail(
            1,
            f"our own fault: {type(error).__name__}: {error}",
            "Set LEASTCUT_TRACE=1 to see where, and please report it",
        )
    sys.exit(code if isinstance(code, int) else 0)
