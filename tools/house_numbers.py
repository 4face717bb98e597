"""Hold the tree to its own numbers: lengths, documented raises, words that must not stand here.

Run from the repository's root. Prints each breach with its place and exits 1 if there is any.
"""

import ast
import re
import statistics
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

MAX_FILE, MAX_BODY, MAX_TEST_BODY = 400, 60, 60
MEDIAN_BODY, P90_BODY = 8, 30

# Machine paths and package-registry hosts, written so that this file does not match itself.
FORBIDDEN = re.compile(
    r"(?:^|[\s\"'`(=])/(?:wo" + r"rk|ro" + r"ot|fa" + r"rm)/"
    r"|(?:index|extra-index)-"
    + r"url|pypi\."
    + r"org|registry\.npm"
    + r"js|files\.python"
    + r"hosted"
)
BINARY = {".png", ".jpg", ".ttf", ".pdf", ".webp", ".npz", ".ico"}


def tracked() -> list[Path]:
    """Return every file under version control that is there."""
    listing = subprocess.run(["git", "ls-files"], capture_output=True, text=True, check=True)
    return [path for line in listing.stdout.splitlines() if (path := Path(line)).is_file()]


def functions(tree: ast.AST) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    """Yield every function of a module, nested ones too."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def body_lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Return the length without signature and docstring."""
    body = function.body[1:] if ast.get_docstring(function) else function.body
    return (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0


def own_raises(function: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    """Tell whether the function itself, not one nested in it, raises a named error."""
    inner = {id(n) for f in functions(function) if f is not function for n in ast.walk(f)}
    return any(
        isinstance(node, ast.Raise) and node.exc is not None and id(node) not in inner
        for node in ast.walk(function)
    )


def check_module(path: Path, bodies: list[int]) -> Iterator[str]:
    """Yield the breaches of one Python file and add its body lengths to `bodies`."""
    text = path.read_text()
    if (lines := text.count("\n")) > MAX_FILE:
        yield f"{path}: {lines} lines, more than {MAX_FILE}"
    source = path.parts[0] == "src"
    for function in functions(ast.parse(text)):
        length = body_lines(function)
        where = f"{path}:{function.lineno} {function.name}"
        if source:
            bodies.append(length)
        if length > (MAX_BODY if source else MAX_TEST_BODY):
            yield f"{where}: body of {length} lines"
        doc = ast.get_docstring(function) or ""
        # A command's docstring is its help text: what it exits with stands in the interface.
        public = source and "cli" not in path.parts and not function.name.startswith("_") and doc
        if public and own_raises(function) and "Raises" not in doc:
            yield f"{where}: raises, but its docstring has no Raises section"


def main() -> int:
    """Check every tracked file; return the exit code."""
    breaches: list[str] = []
    bodies: list[int] = []
    for path in tracked():
        if path.suffix == ".py":
            breaches += check_module(path, bodies)
        if path.suffix not in BINARY:
            for number, line in enumerate(path.read_text(errors="replace").splitlines(), 1):
                if FORBIDDEN.search(line):
                    breaches.append(f"{path}:{number}: machine path or registry host")
    if bodies:
        p90 = statistics.quantiles(bodies, n=10)[-1]
        print(f"function bodies: median {statistics.median(bodies):.0f}, p90 {p90:.0f}")
        if statistics.median(bodies) > MEDIAN_BODY or p90 > P90_BODY:
            breaches.append(f"function bodies: above median {MEDIAN_BODY} or p90 {P90_BODY}")
    print("\n".join(breaches) or "house numbers hold")
    return 1 if breaches else 0


if __name__ == "__main__":
    sys.exit(main())
