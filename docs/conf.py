"""The documentation as a site: ``make docs`` builds it, warnings are errors."""

from typing import Any

from pygments.lexers.special import TextLexer

project = "leastcut"
author = "the leastcut authors"
extensions = ["myst_parser"]
myst_enable_extensions = ["deflist"]
myst_heading_anchors = 4
html_theme = "furo"
html_title = "leastcut"
exclude_patterns = ["pictures"]
html_copy_source = False


class _Csv(TextLexer):  # type: ignore[misc]
    """A CSV file is shown as it is."""

    name, aliases = "csv", ["csv"]


def setup(app: Any) -> None:
    """Make ``csv`` known to the highlighter."""
    app.add_lexer("csv", _Csv)
