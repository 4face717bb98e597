"""Options that several commands share, so that they read alike everywhere."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal, TypeVar

import click

Units = Literal["metric", "us"]
F = TypeVar("F", bound=Callable[..., Any])


def job_file(function: F) -> F:
    """Take the job file as the first argument."""
    return click.argument("job_file", metavar="JOB.toml", type=click.Path(path_type=Path))(function)


def as_json(function: F) -> F:
    """Offer ``--json``."""
    told = "Print one JSON document, nothing else."
    return click.option("--json", "as_json", is_flag=True, help=told)(function)


def units(function: F) -> F:
    """Offer ``--units`` instead of those of the job file."""
    told = "Units to show; without it those of the job file."
    return click.option("--units", type=click.Choice(["metric", "us"]), help=told)(function)
