"""An executor for tests that does the work in the caller's own thread, when it is handed in."""

from concurrent.futures import Future
from typing import Any


class AtOnce:
    """Does the work at once."""

    width = lot = 1

    def submit(self, work: Any, /, *arguments: Any) -> Future[Any]:
        future: Future[Any] = Future()
        future.set_result(work(*arguments))
        return future

    def alone(self, work: Any, /, *arguments: Any) -> Any:
        return work(*arguments)

    def close(self) -> None:
        """Nothing to end."""
