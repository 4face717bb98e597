"""``leastcut doctor``: what is installed, what is missing, and how to put it right."""

import sys
from collections.abc import Iterator
from pathlib import Path

import click
import msgspec

from leastcut import __version__
from leastcut.cli import options

LEAST_PYTHON = (3, 11)
LEAST_FREE_BYTES = 500_000_000  # a visit with photos takes some 100 MB; ours

# extra -> what is gone without it
EXTRAS = {
    "postgres": "the shop's record on PostgreSQL, for several bays",
    "cluster": "photos of many cars at once over several machines",
    "https": "the workbench under https with a certificate of its own",
    "heic": "photos in HEIC, as some phones take them",
}
# file in the package -> what needs it
FILES = {
    "web/templates": "the pages of the workbench",
    "web/static": "the pages of the workbench",
    "web/words/words.toml": "the pages in other languages",
    "handover/templates": "plans and reports",
    "handover/fonts": "plans and reports",
    "shop/migrations": "the shop's record",
}


class Finding(msgspec.Struct, frozen=True, kw_only=True):
    """One thing looked at. ``do`` says how to put it right, empty where nothing is amiss."""

    what: str
    ok: bool
    needed: bool
    told: str
    do: str = ""


class Health(msgspec.Struct, frozen=True, kw_only=True):
    """All findings; ``ok`` when everything that is needed is there."""

    ok: bool
    version: str
    findings: tuple[Finding, ...]


def look() -> Health:
    """Look at this installation and this machine."""
    found = (_python(), *_packages(), *_files(), *_machine())
    return Health(
        ok=all(one.ok for one in found if one.needed), version=__version__, findings=found
    )


def _python() -> Finding:
    told = ".".join(map(str, sys.version_info[:3]))
    return Finding(
        what="Python",
        ok=sys.version_info >= LEAST_PYTHON,
        needed=True,
        told=told,
        do="" if sys.version_info >= LEAST_PYTHON else "Install Python 3.11 or newer",
    )


def _packages() -> Iterator[Finding]:
    """Yield a finding for every package that leastcut asks for, those of extras too."""
    import re
    from importlib.metadata import requires

    for line in requires("leastcut") or ():
        named = re.match(r"[A-Za-z0-9._-]+", line)
        extra = re.search(r"extra == ['\"](\w+)['\"]", line)
        if named and (extra is None or extra[1] in EXTRAS):
            yield _package(named[0], extra[1] if extra else "")


def _package(name: str, extra: str) -> Finding:
    from importlib.metadata import PackageNotFoundError, version

    what = f"{name} ({extra})" if extra else name
    try:
        return Finding(what=what, ok=True, needed=not extra, told=version(name))
    except PackageNotFoundError:
        wanted = f"leastcut[{extra}]" if extra else "--force-reinstall leastcut"
        return Finding(
            what=what,
            ok=False,
            needed=not extra,
            told=f"not installed: without it no {EXTRAS[extra]}" if extra else "not installed",
            do=f"python -m pip install '{wanted}'" if extra else f"python -m pip install {wanted}",
        )


def _files() -> Iterator[Finding]:
    """Yield a finding for every folder that the package must have brought along."""
    from importlib.resources import files

    for name, need in FILES.items():
        place = files("leastcut").joinpath(*name.split("/"))
        there = place.is_file() or (place.is_dir() and any(place.iterdir()))
        yield Finding(
            what=name,
            ok=there,
            needed=True,
            told="there" if there else f"missing: needed for {need}",
            do="" if there else "python -m pip install --force-reinstall --no-deps leastcut",
        )


def _machine() -> Iterator[Finding]:
    """Yield what this machine's settings lead to: the record's place, the room left there."""
    import os

    from leastcut.errors import InputError
    from leastcut.shop.config import read_config

    try:
        place = read_config(os.environ).place()
    except InputError as error:
        yield Finding(what="settings", ok=False, needed=True, told=error.what, do=error.do)
        return
    if "://" in place:
        told = "in a database; `leastcut shop verify` looks into it"
        yield Finding(what="shop", ok=True, needed=True, told=told)
        return
    yield _place(Path(place))


def _place(folder: Path) -> Finding:
    import os
    import shutil

    near = next(p for p in (folder, *folder.absolute().parents) if p.is_dir())
    free = shutil.disk_usage(near).free
    told = f"{folder}, {free / 1e9:.1f} GB free" + ("" if near == folder else ", not begun yet")
    do = ""
    if not os.access(near, os.W_OK):
        do = f"Allow writing in {near}, or name another place with LEASTCUT_SHOP"
    elif free < LEAST_FREE_BYTES:
        do = f"Make room: {LEAST_FREE_BYTES / 1e9:.1f} GB at least, for the photos of a visit"
    return Finding(what="shop", ok=not do, needed=True, told=told, do=do)


def _line(one: Finding) -> str:
    mark = "ok     " if one.ok else "MISSING" if one.needed else "without"
    return f"{mark}  {one.what}: {one.told}" + (f"\n           {one.do}" if one.do else "")


@click.command()
@options.as_json
def doctor(*, as_json: bool) -> None:
    """Say what is installed, what is missing, and how to put it right.

    Looks only; nothing is changed or sent. Exit 3 when something that is needed is missing.
    """
    health = look()
    if as_json:
        click.echo(msgspec.json.encode(health).decode())
    else:
        click.echo(f"leastcut {health.version}")
        click.echo("\n".join(_line(one) for one in health.findings))
        if health.ok:
            click.echo("Everything that is needed is there.")
    if not health.ok:
        click.get_current_context().exit(3)
