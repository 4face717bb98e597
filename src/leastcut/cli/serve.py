"""``leastcut serve``: a job as pages on this machine."""

from pathlib import Path

import click

from leastcut.cli import options


@click.command()
@options.job_file
@click.option("-o", "--out", type=click.Path(path_type=Path), help="Folder for the documents.")
@click.option("--port", type=click.IntRange(1, 65535), default=8136, show_default=True)
@click.option("--open/--no-open", "open_browser", default=True, help="Open the browser.")
def serve(job_file: Path, out: Path | None, port: int, *, open_browser: bool) -> None:
    """Show a job as pages in the browser, on this machine only.

    The pages follow the job file: save it, reload the page.
    """
    import webbrowser
    from datetime import UTC, datetime
    from threading import Timer

    import uvicorn

    from leastcut.web.app import create_app

    address = f"http://127.0.0.1:{port}/"
    app = create_app(job_file, out or job_file.with_suffix(""))
    app.state.bench.outcome(datetime.now(UTC))
    click.echo(f"{job_file.name} is at {address}  (stop with Ctrl-C)")
    if open_browser:
        Timer(0.5, webbrowser.open, [address]).start()
    uvicorn.run(app, host="127.0.0.1", port=port, log_level="warning")
