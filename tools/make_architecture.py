"""Draw docs/pictures/architecture.svg from the import contract and the imports themselves.

Each band is a layer of the contract in pyproject.toml, top to bottom; each box one package with the
first line of its docstring. An arrow leads from a package to one that uses what it makes: data flows
upwards. Arrows that follow from others are left out. ``--check`` only says whether the picture is
stale, or whether an import runs against the contract.
"""

import ast
import sys
import tomllib
from html import escape
from pathlib import Path

from kept import keep

ROOT = Path(__file__).parents[1]
PICTURE = ROOT / "docs" / "pictures" / "architecture.svg"
SOURCE = ROOT / "src" / "leastcut"
INK, QUIET, PAPER = "#1c2230", "#5c6472", "#ffffff"
BANDS = {"cli": "#f1efe8", "web": "#f1efe8", "demo": "#f1efe8", "job": "#e6ecf2", "shop": "#e6ecf2"}
CORE = "#e4efe6"
FONT = "'Atkinson Hyperlegible', 'Liberation Sans', sans-serif"
WIDTH, BOX, HEIGHT, GAP, LEFT = 960, 236, 54, 34, 24

Edges = set[tuple[str, str]]


def layers() -> list[list[str]]:
    """Return the packages of each layer of the contract, top layer first."""
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    (found,) = [c for c in contracts["tool"]["importlinter"]["contracts"] if c["type"] == "layers"]
    named = [[n.strip().removeprefix("leastcut.") for n in row.split("|")] for row in found["layers"]]  # fmt: skip
    return [row for row in named if row != ["errors"]]


def uses(packages: set[str]) -> Edges:
    """Return (user, used) for every import of one package by another."""
    found: Edges = set()
    for path in SOURCE.rglob("*.py"):
        own = path.relative_to(SOURCE).parts[0]
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names: list[str] = []
            if isinstance(node, ast.Import):
                names = [a.name for a in node.names]
            elif isinstance(node, ast.ImportFrom) and node.module:
                names = [node.module, *(f"{node.module}.{a.name}" for a in node.names)]
            found |= {(own, n.split(".")[1]) for n in names if n.startswith("leastcut.")}
    return {(a, b) for a, b in found if a != b and {a, b} <= packages}


def without_detours(edges: Edges) -> Edges:
    """Leave out each edge that a longer way replaces."""

    def reaches(start: str, end: str, skip: tuple[str, str]) -> bool:
        seen, todo = set(), [start]
        while todo:
            at = todo.pop()
            todo += [b for a, b in edges if a == at and (a, b) != skip and b not in seen]
            seen |= {b for a, b in edges if a == at and (a, b) != skip}
        return end in seen

    return {edge for edge in edges if not reaches(*edge, edge)}


def upwards(rows: list[list[str]], edges: Edges) -> list[str]:
    """Return the imports that run against the contract, in words."""
    level = {name: i for i, row in enumerate(rows) for name in row}
    return [f"{a} imports {b}" for a, b in sorted(edges) if level[a] >= level[b]]


def about(package: str) -> str:
    """Return the first line of a package's docstring."""
    text = ast.get_docstring(ast.parse((SOURCE / package / "__init__.py").read_text())) or package
    return text.splitlines()[0].rstrip(".")


def wrapped(text: str, width: int = 37) -> list[str]:
    """Break a line in two at a space."""
    if len(text) <= width:
        return [text]
    at = text.rfind(" ", 0, width)
    rest = text[at + 1 :]
    return [text[:at], rest if len(rest) <= width else rest[: rest.rfind(" ", 0, width)] + " …"]


def places(rows: list[list[str]], edges: Edges) -> dict[str, tuple[float, float]]:
    """Return the top left corner of every box, each over what it uses."""
    at: dict[str, tuple[float, float]] = {}

    def middle(name: str) -> float:
        below = [at[used][0] for user, used in edges if user == name and used in at]
        return sum(below) / len(below) if below else WIDTH / 2

    for i, row in reversed(list(enumerate(rows))):
        whole = len(row) * BOX + (len(row) - 1) * 40
        for k, name in enumerate(sorted(row, key=middle)):
            x = (WIDTH - whole) / 2 + k * (BOX + 40)
            at[name] = (x, 56.0 + i * (HEIGHT + GAP))
    return at


def box(name: str, at: tuple[float, float]) -> str:
    """Draw one package."""
    x, y = at
    fill = BANDS.get(name, "#e6ecf2" if name == "handover" else CORE)
    lines = "".join(
        f'<text x="{x + 12:g}" y="{y + 34 + 14 * i:g}" font-size="11" fill="{QUIET}">{escape(t)}</text>'
        for i, t in enumerate(wrapped(about(name)))
    )
    return (
        f'<rect x="{x:g}" y="{y:g}" width="{BOX}" height="{HEIGHT}" rx="6" fill="{fill}" stroke="{INK}"/>'
        f'<text x="{x + 12:g}" y="{y + 19:g}" font-size="15" font-weight="bold" fill="{INK}">{name}</text>{lines}'
    )


def arrow(used: tuple[float, float], user: tuple[float, float], shift: float) -> str:
    """Draw data going up from the package that makes it to the one that uses it."""
    x0, y0 = used[0] + BOX / 2 + shift, used[1]
    x1, y1 = user[0] + BOX / 2 + shift, user[1] + HEIGHT
    bend = (y0 - y1) / 2
    return f'<path d="M{x0:g} {y0:g} C{x0:g} {y0 - bend:g} {x1:g} {y1 + bend:g} {x1:g} {y1 + 5:g}" fill="none" stroke="{QUIET}" stroke-width="1.4" marker-end="url(#tip)"/>'


def drawn(rows: list[list[str]], edges: Edges) -> str:
    """Return the picture."""
    at = places(rows, edges)
    height = 56 + len(rows) * (HEIGHT + GAP)
    level = {name: i for i, row in enumerate(rows) for name in row}
    arrows = [
        arrow(at[b], at[a], 9.0 * ((i % 5) - 2))
        if level[b] - level[a] == 1
        else around(at[b], at[a], i)
        for i, (a, b) in enumerate(sorted(edges))
    ]
    head = f'<text x="{LEFT}" y="32" font-size="15" fill="{INK}">What each package makes goes up to those that use it; imports run down only.</text>'
    tip = f'<marker id="tip" viewBox="0 0 8 8" refX="6" refY="4" markerWidth="7" markerHeight="7" orient="auto"><path d="M0 0L8 4L0 8z" fill="{QUIET}"/></marker>'
    body = "\n".join([head, *arrows, *(box(name, place) for name, place in at.items())])
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" font-family="{FONT}" role="img">'
        f"<title>Packages of leastcut in layers</title>"
        f'<defs>{tip}</defs><rect width="100%" height="100%" fill="{PAPER}"/>\n{body}\n</svg>\n'
    )


def around(used: tuple[float, float], user: tuple[float, float], i: int) -> str:
    """Draw a long arrow beside the boxes between, on the side where they stand."""
    left = used[0] + user[0] + BOX < WIDTH
    x0, x1 = (at[0] + (0 if left else BOX) for at in (used, user))
    y0, y1 = used[1] + HEIGHT / 2 - 4, user[1] + HEIGHT / 2 + 4
    away = 36 + 12 * (i % 4)
    turn = min(x0, x1) - away if left else max(x0, x1) + away
    end = x1 - 5 if left else x1 + 5
    return f'<path d="M{x0:g} {y0:g} C{turn:g} {y0:g} {turn:g} {y1:g} {end:g} {y1:g}" fill="none" stroke="{QUIET}" stroke-width="1.4" marker-end="url(#tip)"/>'


def main() -> int:
    """Draw the picture, or with ``--check`` say what is wrong with it."""
    rows = layers()
    edges = uses({name for row in rows for name in row})
    if wrong := upwards(rows, edges):
        print("\n".join(wrong))
        return 1
    made = drawn(rows, without_detours(edges))
    return keep(PICTURE, made, root=ROOT, tool="make_architecture")


if __name__ == "__main__":
    sys.exit(main())
