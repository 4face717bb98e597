"""Make the manual page of the command, from the commands themselves.

Kept in ``docs/man/leastcut.1``, from where the wheel takes it. ``--check`` only says whether it is
stale.
"""

import inspect
import sys
from collections.abc import Iterator
from pathlib import Path

import click

from kept import keep
from leastcut import __version__
from leastcut.cli import leastcut

ROOT = Path(__file__).parents[1]
KEPT = ROOT / "docs" / "man" / "leastcut.1"
EXITS = {0: "done", 1: "our own fault, please report it", 2: "bad input: one line says what and what to do", 3: "answered, but refused to judge"}  # fmt: skip
VARIABLES = {
    "LEASTCUT_CONFIG": "the settings file, instead of the one in the user's folder for settings",
    "LEASTCUT_SHOP": "the shop's record: a folder or a PostgreSQL URL",
    "LEASTCUT_TRACE": "set to 1: show where an unexpected fault arose",
}


def plain(text: str) -> str:
    """Return text that no roff reader takes for a request."""
    safe = text.replace("\\", "\\e").replace("-", "\\-")
    return "\n".join(
        ("\\&" + line if line[:1] in {".", "'"} else line) for line in safe.splitlines()
    )


def walk(context: click.Context) -> Iterator[click.Context]:
    """Yield the context of every command, groups before their own; each inherits its parent's."""
    yield context
    command = context.command
    if isinstance(command, click.Group):
        for name in command.list_commands(context):
            child = command.get_command(context, name)
            assert child is not None
            yield from walk(click.Context(child, info_name=name, parent=context))


def told(context: click.Context) -> list[str]:
    """Return usage, help and options of one command."""
    command = context.command
    usage = " ".join(command.collect_usage_pieces(context))
    text = [".PP", f".B {plain(context.command_path)}", plain(usage), ".PP"]
    about = (command.help or "").replace("\b", "").strip()
    text += [plain(part.strip()) if part.strip() else ".PP" for part in about.splitlines()]
    for option in command.get_params(context):
        if (record := option.get_help_record(context)) is not None:
            text += [".TP", f".B {plain(record[0])}", plain(record[1]) or "\\&"]
    return text


def page() -> str:
    """Return the manual page as roff."""
    text = [
        f'.TH LEASTCUT 1 "" "leastcut {__version__}" "User Commands"',
        ".SH NAME",
        "leastcut \\- paint correction with the least cut",
        ".SH SYNOPSIS",
        ".B leastcut",
        "[\\-\\-help] [\\-\\-version] COMMAND [ARGUMENTS]",
        ".SH DESCRIPTION",
        plain(inspect.cleandoc(leastcut.help or "")),
        ".SH COMMANDS",
    ]
    top = click.Context(leastcut, info_name="leastcut", **leastcut.context_settings)
    for context in walk(top):
        if context is not top:
            text += [f".SS {context.command_path.removeprefix('leastcut ')}", *told(context)]
    text += [".SH EXIT STATUS"]
    for code, meaning in EXITS.items():
        text += [".TP", f".B {code}", plain(meaning)]
    text += [".SH ENVIRONMENT"]
    for name, meaning in VARIABLES.items():
        text += [".TP", f".B {name}", plain(meaning)]
    return "\n".join(line for line in "\n".join(text).splitlines() if line.strip()) + "\n"


def main() -> int:
    """Write the page, or check it."""
    return keep(KEPT, page(), root=ROOT, tool="make_man")


if __name__ == "__main__":
    sys.exit(main())
