"""Run a coroutine to its end where a browser's own loop may already be running in this thread."""

import asyncio
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any


def finish(work: Coroutine[Any, Any, Any]) -> Any:
    """Return what `work` returns; it runs in a thread with a loop of its own."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, work).result()
