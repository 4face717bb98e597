"""Make the parts of docs/ that follow from the code: JSON Schemas, job file fields, commands.

``python tools/make_docs.py`` writes them; ``--check`` only says which are stale and exits 1.
"""

import inspect
import json
import re
import sys
from pathlib import Path
from typing import Any

import click
import msgspec

from leastcut.cli import leastcut
from leastcut.job.contract import JobAnswer
from leastcut.job.run import CheckAnswer
from leastcut.shop.jobschema import JobFile
from leastcut.shop.quantities import schema as quantity

DOCS = Path(__file__).parent.parent / "docs"
DIALECT = "https://json-schema.org/draft/2020-12/schema"


def published(record: type[msgspec.Struct], title: str) -> str:
    """Return the JSON Schema of a record as indented text."""
    made = _level(msgspec.json.schema(record, schema_hook=quantity))
    text = json.dumps({"$schema": DIALECT, "title": title, **made}, indent=1) + "\n"
    # Exact decimals are printed as JSON numbers.
    return re.sub(r'"type": "string",\s*"format": "decimal"', '"type": "number"', text)


def _level(made: Any) -> Any:
    """Take the code's indentation from descriptions: from Python 3.13 on docstrings have none."""
    if isinstance(made, list):
        return [_level(part) for part in made]
    if not isinstance(made, dict):
        return made
    return {
        key: inspect.cleandoc(part)
        if key == "description" and isinstance(part, str)
        else _level(part)
        for key, part in made.items()
    }


def fields(record: type[msgspec.Struct]) -> str:
    """Return the job file's fields as tables, one for each table of the file."""
    made = msgspec.json.schema(record, schema_hook=quantity)["$defs"]
    text = [
        "# The job file",
        "",
        "A job file is a [TOML](https://toml.io) file that you write by hand, with photos and CSV",
        "readings beside it. `leastcut check JOB.toml` says what is wrong in it, line by line. Every",
        "quantity is text with its unit, metric or US. Only `format` and `car` are needed; each",
        "thing you leave out makes the plan more careful, and the plan says so.",
        "",
        "This chapter is made from the code; the same as JSON Schema:",
        "[job-file.schema.json](schema/job-file.schema.json).",
        "",
        *_table("(top of the file)", made["JobFile"], made),
    ]
    for name, table in made["JobFile"]["properties"].items():
        text += _nested(name, table, made)
    return "\n".join(text) + "\n"


def _nested(name: str, table: dict[str, Any], made: dict[str, Any]) -> list[str]:
    target = _target(table)
    if target is None:
        return []
    many = table.get("type") == "array"
    text = _table(f"[[{name}]]" if many else f"[{name}]", made[target], made)
    for child, inner in made[target]["properties"].items():
        text += _nested(f"{name}.{child}", inner, made)
    return text


def _target(field: dict[str, Any]) -> str | None:
    """Return the name of the table that a field leads to, if it does."""
    places = [field, field.get("items", {}), *field.get("anyOf", [])]
    for place in places:
        if isinstance(place, dict) and "$ref" in place:
            return str(place["$ref"]).rsplit("/", 1)[1]
    return None


def _table(head: str, table: dict[str, Any], made: dict[str, Any]) -> list[str]:
    about = table.get("description", "").splitlines()[:1]
    text = [
        f"## `{head}`",
        "",
        *about,
        "",
        "| field | what it takes | meaning |",
        "| --- | --- | --- |",
    ]
    for name, field in table["properties"].items():
        needed = " **(needed)**" if name in table.get("required", []) else ""
        meaning = field.get("description", "")
        text.append(f"| `{name}`{needed} | {_takes(field, made)} | {meaning} |")
    return [*text, ""]


def _takes(field: dict[str, Any], made: dict[str, Any]) -> str:
    """Say in a few words what may be written."""
    if "anyOf" in field:
        return " or ".join(_takes(f, made) for f in field["anyOf"] if f != {"type": "null"})
    if "enum" in field:
        return ", ".join(f"`{word}`" for word in field["enum"] if word is not None)
    if field.get("type") == "array":
        return f"a list: {_takes(field.get('items') or {'type': 'number'}, made)}"
    if field.get("type") == "object":
        return f"names with {_takes(field.get('additionalProperties') or {}, made)}"
    if field.get("examples"):
        return f'`"{field["examples"][0]}"`'
    kind = "table" if "$ref" in field else str(field.get("type"))
    return _PLAIN.get(kind, "anything")


_PLAIN = {
    "table": "a table, see below",
    "string": "text",
    "integer": "whole number",
    "number": "number",
    "boolean": "`true` or `false`",
}


def commands() -> str:
    """Return the help of every command, as the terminal shows it."""
    text = ["# The commands", "", "Made from the code: what `--help` prints for each command.", ""]
    for path, command in _walk(leastcut, "leastcut"):
        with click.Context(command, info_name=path, max_content_width=96) as context:
            text += [f"## `{path}`", "", "```text", command.get_help(context), "```", ""]
    return "\n".join(text)


def _walk(command: click.Command, path: str) -> list[tuple[str, click.Command]]:
    found = [(path, command)]
    if isinstance(command, click.Group):
        with click.Context(command, info_name=path) as context:
            for name in command.list_commands(context):
                child = command.get_command(context, name)
                assert child is not None
                found += _walk(child, f"{path} {name}")
    return found


def pages() -> dict[Path, str]:
    """Return every generated file with its content."""
    return {
        DOCS / "job-file.md": fields(JobFile),
        DOCS / "commands.md": commands(),
        DOCS / "schema" / "job-file.schema.json": published(JobFile, "leastcut job file"),
        DOCS / "schema" / "job.schema.json": published(JobAnswer, "leastcut job --json"),
        DOCS / "schema" / "check.schema.json": published(CheckAnswer, "leastcut check --json"),
    }


def main() -> int:
    """Write the files, or with ``--check`` name the stale ones."""
    stale = [p for p, text in pages().items() if not p.is_file() or p.read_text() != text]
    if "--check" in sys.argv:
        for path in stale:
            print(f"{path.relative_to(DOCS.parent)} is stale: run make docs")
        return 1 if stale else 0
    for path in stale:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(pages()[path])
        print(f"wrote {path.relative_to(DOCS.parent)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
