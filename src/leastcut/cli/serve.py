"""``leastcut serve``: the workbench on this machine, and for phones on the same network."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from leastcut.cli.shop import config, place

if TYPE_CHECKING:
    from leastcut.web.running import Ways


@click.command()
@click.argument("job_file", metavar="[JOB.toml]", required=False, type=click.Path(path_type=Path))
@place
@click.option("--lan", is_flag=True, help="Let paired phones on this network in; shows a code.")
@click.option("--https", is_flag=True, help="Encrypt, with a certificate made by the shop itself.")
@click.option("--host", help="Address to listen on; usually not needed.")
@click.option("--port", type=click.IntRange(1, 65535), help="Usually 8136.")
@click.option("--open/--no-open", "open_browser", default=True, help="Open the browser.")
def serve(
    job_file: Path | None,
    shop_place: str | None,
    blobs: str | None,
    *,
    lan: bool,
    https: bool,
    host: str | None,
    port: int | None,
    open_browser: bool,
) -> None:
    """Open the workbench: every car and visit of the shop, on a phone or a desk.

    A job file is carried into the shop, once, and its car opened. Without --lan only this machine
    reaches the workbench; with it, only devices that were paired by the code shown.
    """
    from msgspec.structs import replace

    from leastcut.shop.logs import set_up
    from leastcut.web.running import run

    given = {"shop": shop_place, "blobs": blobs, "host": host, "port": port, "lan": lan or None}
    chosen = replace(config(), **{k: v for k, v in given.items() if v is not None})
    set_up(form=chosen.log, level=chosen.log_level)

    def told(ways: "Ways") -> None:
        _tell(ways)
        if open_browser:
            _open_soon(ways.enter)

    run(chosen, job_file=job_file, own_https=https, told=told)


def _open_soon(address: str) -> None:
    import webbrowser
    from threading import Timer

    later = Timer(0.5, webbrowser.open, [address])
    later.daemon = True
    later.start()


def _tell(ways: "Ways") -> None:
    click.echo(
        f"The workbench is open. On this machine, once, within five minutes:\n  {ways.enter}"
    )
    if ways.certificate:
        click.echo(
            "\nEncrypted with the shop's own certificate. On each phone, once:\n"
            f"  1. Open {ways.certificate} and go on in spite of the warning.\n"
            "  2. Install the file as a certificate authority (Android: Settings, Security,\n"
            "     Install a certificate; iPhone: Settings, Profile downloaded, then About,\n"
            "     Certificate trust settings).\n"
            "  3. Compare its SHA-256 fingerprint before you trust it:\n"
            f"     {ways.fingerprint}"
        )
    if ways.pair:
        from leastcut.web.qr import blocks

        click.echo(f"\n{blocks(ways.pair)}\nA phone of yours: scan this, once, within ten minutes.")
        click.echo("For other people and more devices: Settings, People.")
        if not ways.certificate and ways.pair.startswith("http:"):
            click.echo("Plain http: on a network that others use, add --https.")
    click.echo("\nStop with Ctrl-C.")
