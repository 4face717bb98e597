"""The job on the bench: run once, and again when its file has changed."""

from datetime import datetime
from pathlib import Path
from threading import Lock

from leastcut.job.run import Outcome, run


class Bench:
    """Keeps the outcome of one job file; safe to ask from several threads.

    Parameters
    ----------
    job_file : Path
        The job file.
    out : Path
        Folder for its documents.
    """

    def __init__(self, job_file: Path, out: Path) -> None:
        self._job_file, self._out = job_file, out
        self._lock = Lock()
        self._seen: tuple[int, Outcome] | None = None

    def outcome(self, now: datetime) -> Outcome:
        """Return the outcome for the job file as it is now.

        Raises
        ------
        InputError
            If the job file or its evidence cannot be used.
        """
        stamp = self._job_file.stat().st_mtime_ns if self._job_file.exists() else 0
        with self._lock:
            if self._seen is None or self._seen[0] != stamp:
                self._seen = (stamp, run(self._job_file, self._out, now=now))
            return self._seen[1]
