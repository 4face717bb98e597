"""Every text of ours that a page may show, found in templates, code and scripts."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from jinja2 import Environment, nodes

import leastcut.web

WEB = Path(leastcut.web.__file__).parent


def in_templates() -> Iterator[tuple[str, str]]:
    for path in sorted((WEB / "templates").glob("*.html")):
        tree = Environment(autoescape=True).parse(path.read_text("utf-8"))
        for call in tree.find_all(nodes.Call):
            named = isinstance(call.node, nodes.Name) and call.node.name == "_"
            if named and call.args and isinstance(call.args[0], nodes.Const):
                yield path.name, str(call.args[0].value)


def in_code() -> Iterator[tuple[str, str]]:
    for path in sorted(WEB.rglob("*.py")):
        for call in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(call, ast.Call) and call.args:
                name = getattr(call.func, "id", getattr(call.func, "attr", ""))
                first = call.args[1] if name == "say" and _of_module(call) else call.args[0]
                if name in {"mark", "say"}:
                    yield from ((path.name, text) for text in _texts(first))


def _texts(given: ast.expr) -> Iterator[str]:
    """Yield the text of an argument; both, where it chooses one of two."""
    if isinstance(given, ast.Constant):
        yield str(given.value)
    if isinstance(given, ast.IfExp):
        yield from _texts(given.body)
        yield from _texts(given.orelse)


def _of_module(call: ast.Call) -> bool:
    value = getattr(call.func, "value", None)
    return isinstance(value, ast.Name) and value.id == "words" and len(call.args) > 1


def in_scripts() -> Iterator[tuple[str, str]]:
    for path in sorted((WEB / "static").rglob("*.js")):
        for found in re.finditer(r"""\b_\(\s*("(?:[^"\\]|\\.)*")""", path.read_text("utf-8")):
            yield path.name, str(ast.literal_eval(found[1]))


def every() -> dict[str, str]:
    """Return each text with the file that it stands in."""
    return {
        text: place for place, text in (*in_templates(), *in_code(), *in_scripts()) if text.strip()
    }
