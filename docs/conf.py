"""The documentation as a site: ``make docs`` builds it, warnings are errors."""

project = "leastcut"
author = "the leastcut authors"
extensions = ["myst_parser"]
myst_enable_extensions = ["deflist"]
myst_heading_anchors = 4
html_theme = "furo"
html_title = "leastcut"
exclude_patterns = ["pictures"]
html_copy_source = False
