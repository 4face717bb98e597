"""``leastcut shop people`` and its like: who may come in, for a machine without a browser."""

import time
from typing import TYPE_CHECKING

import click

from leastcut.cli import options
from leastcut.cli.shop import group, opened, place

if TYPE_CHECKING:
    from leastcut.shop.access import Access, Person

ROLES = ("owner", "detailer", "learner")


@group.command()
@place
@options.as_json
def people(shop_place: str | None, blobs: str | None, *, as_json: bool) -> None:
    """List who may come in, with their devices."""
    import msgspec

    from leastcut.shop.access import Access

    with opened(shop_place, blobs) as shop:
        access = Access(shop.database)
        found = [person for person in access.people() if person.revoked_s is None]
        devices = access.devices()
    if as_json:
        told = msgspec.json.encode({"people": found, "devices": devices})
        click.echo(told.decode())
        return
    for person in found:
        click.echo(f"{person.person:>4}  {person.role:<9} {person.name}")
        for device in devices:
            if device.person == person.person:
                click.echo(
                    f"      device {device.device}: {device.label}, seen {_day(device.seen_s)}"
                )


def _day(at_s: float | None) -> str:
    from datetime import UTC, datetime

    return "never" if at_s is None else f"{datetime.fromtimestamp(at_s, UTC):%Y-%m-%d %H:%M} UTC"


@group.command()
@click.argument("name")
@click.option("--role", type=click.Choice(ROLES), default="detailer", show_default=True)
@click.option("--minutes", type=click.FloatRange(1, 1440), default=10, show_default=True)
@place
def pair(
    name: str, shop_place: str | None, blobs: str | None, *, role: str, minutes: float
) -> None:
    """Make a one-time code that lets a device of NAME in; NAME is added when new."""
    from leastcut.shop.access import Access
    from leastcut.shop.keys import shown_code

    with opened(shop_place, blobs, create=True) as shop:
        access, now_s = Access(shop.database), time.time()
        found = _named(access, name)
        person = found.person if found else access.new_person(name, role, now_s=now_s)
        code = access.new_code(person, now_s=now_s, life_s=60 * minutes)
    click.echo(f"{shown_code(code)}  (once, within {minutes:g} minutes, at the workbench's /pair)")


def _named(access: "Access", name: str) -> "Person | None":
    wanted = " ".join(name.split())
    return next(
        (one for one in access.people() if one.name == wanted and one.revoked_s is None), None
    )


@group.command()
@click.argument("device", type=click.IntRange(1))
@place
def shut_out(device: int, shop_place: str | None, blobs: str | None) -> None:
    """Shut the DEVICE of that number out, from its next request on."""
    from leastcut.shop.access import Access

    with opened(shop_place, blobs) as shop:
        Access(shop.database).revoke_device(device, by=None, now_s=time.time())
    click.echo(f"device {device} is shut out")


@group.command()
@click.option("--last", type=click.IntRange(1, 10_000), default=50, show_default=True)
@place
@options.as_json
def audit(shop_place: str | None, blobs: str | None, *, last: int, as_json: bool) -> None:
    """Show what was done, the newest first."""
    import msgspec

    from leastcut.shop.audit import Audit

    with opened(shop_place, blobs) as shop:
        rows = Audit(shop.database).page(per_page=last).rows
    if as_json:
        click.echo(msgspec.json.encode(rows).decode())
        return
    for row in rows:
        who = " ".join(part for part in (row.person, row.device and f"({row.device})") if part)
        click.echo(
            f"{_day(row.at_s)}  {who or '-'}  {row.what}  {row.where}  {row.detail}".rstrip()
        )
