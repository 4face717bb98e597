"""The workbench served on loopback, and one browser for all page tests."""

import shutil
import socket
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from leastcut.web.app import create_app

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PROGRAMS = ("chromium", "chromium-browser", "google-chrome")
MAC = "/Applications/Chromium.app/Contents/MacOS/Chromium"


@pytest.fixture(scope="session")
def address(demo) -> Iterator[str]:  # noqa: ANN001 - the shared fixture's class lives in conftest
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    app = create_app(demo.job_file, demo.folder / "served")
    app.state.bench.outcome(datetime.now(UTC))
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=port, log_level="error"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    program = next((found for name in PROGRAMS if (found := shutil.which(name))), MAC)
    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=program, args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture(params=["light", "dark"])
def context(browser: Browser, request: pytest.FixtureRequest) -> Iterator[BrowserContext]:
    made = browser.new_context(
        viewport={"width": 390, "height": 844}, color_scheme=request.param, has_touch=True
    )
    yield made
    made.close()


@pytest.fixture
def page(context: BrowserContext) -> Page:
    return context.new_page()
