"""The log: one line an event on standard error, as text or JSON, without secrets.

Keys, codes, links, passwords and cookies are taken out here, at the last step, whoever logged
them: in the words, in the arguments, in the added fields and in the error's own text.
"""

import json
import logging
import re
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any, TextIO

HIDDEN = "***"
_WORDS = "password|passwd|passphrase|secret|token|cookie|authorization|csrf|api[-_]?key|key_hash"
_NAMES = re.compile(rf"(?i)(^|[_-])({_WORDS}|key|code|link)$")
_PLAIN = (
    # user:password@host in any URL
    (re.compile(r"(?<=://)([^/\s:@]*):[^/\s]*@"), rf"\1:{HIDDEN}@"),
    # what a client's link or a pairing carries in its path
    (re.compile(r"(/(?:see|pair)/)[^/\s?#\"']+"), rf"\1{HIDDEN}"),
    # what opens something in an address
    (re.compile(r"([?&](?:key|code|link)=)[^&\s\"'#]+"), rf"\1{HIDDEN}"),
    # a header with all its words
    (
        re.compile(r"(?i)\b((?:set-)?cookie|authorization)(\"?'?\s*[:=]\s*)[^\r\n]+"),
        rf"\1\2{HIDDEN}",
    ),
    # name=value, name: value, "name": "value"
    (
        re.compile(
            rf"(?i)\b([\w-]*(?:{_WORDS}|\bcode))([\"']?\s*[:=]\s*)(\"[^\"]*\"|'[^']*'|[^\s&,;]+)"
        ),
        rf"\1\2{HIDDEN}",
    ),
)
# What every record has; everything else was added by the caller.
_USUAL = set(vars(logging.makeLogRecord({}))) | {"message", "asctime", "taskName", "color_message"}


def without_secrets(words: str) -> str:
    """Return a line of log without what would open something.

    >>> without_secrets("postgresql+psycopg://shop:hunter2@db/shop token=abc")
    'postgresql+psycopg://shop:***@db/shop token=***'
    """
    for pattern, instead in _PLAIN:
        words = pattern.sub(instead, words)
    return words


def _field(name: str, value: Any) -> Any:
    if _NAMES.search(name):
        return HIDDEN
    if isinstance(value, dict):
        return {str(k): _field(str(k), v) for k, v in value.items()}
    if isinstance(value, list | tuple | set):
        return [_field("", item) for item in value]
    if isinstance(value, bool | int | float) or value is None:
        return value
    return without_secrets(str(value))


def _added(record: logging.LogRecord) -> dict[str, Any]:
    return {k: _field(k, v) for k, v in vars(record).items() if k not in _USUAL}


def _at(record: logging.LogRecord) -> str:
    return datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")


class _Lines(logging.Formatter):
    """A line of text; an error's trace follows on further lines."""

    def format(self, record: logging.LogRecord) -> str:
        added = " ".join(f"{k}={v}" for k, v in _added(record).items())
        words = f"{_at(record)} {record.levelname.lower()} {record.name}: {record.getMessage()}"
        trace = f"\n{self.formatException(record.exc_info)}" if record.exc_info else ""
        return without_secrets(f"{words} {added}".rstrip().replace("\n", "\\n") + trace)


class _Json(logging.Formatter):
    """One JSON object a line."""

    def format(self, record: logging.LogRecord) -> str:
        told: dict[str, Any] = {
            "at": _at(record),
            "level": record.levelname.lower(),
            "logger": record.name,
            "what": without_secrets(record.getMessage()),
        }
        if record.exc_info:
            told["error"] = without_secrets(self.formatException(record.exc_info))
        return json.dumps(told | _added(record), ensure_ascii=False, allow_nan=True, default=str)


_FORMS: dict[str, Callable[[], logging.Formatter]] = {"text": _Lines, "json": _Json}


def set_up(*, form: str = "text", level: str = "info", stream: TextIO | None = None) -> None:
    """Send every log of this process to one place, in one form; calling again replaces it.

    Parameters
    ----------
    form : {"text", "json"}
        A line of words, or a JSON object a line.
    level : {"debug", "info", "warning", "error"}
        The least that is told.
    stream : text file or None
        Standard error when None.
    """
    handler = logging.StreamHandler(stream or sys.stderr)
    handler.setFormatter(_FORMS[form]())
    root = logging.getLogger()
    for old in [h for h in root.handlers if isinstance(h.formatter, _Lines | _Json)]:
        root.removeHandler(old)
    root.addHandler(handler)
    root.setLevel(level.upper())
    for name in ("uvicorn", "uvicorn.access", "uvicorn.error"):
        logging.getLogger(name).handlers.clear()
        logging.getLogger(name).propagate = True
    for name in ("sqlalchemy", "alembic", "PIL", "asyncio", "fsspec", "distributed"):
        logging.getLogger(name).setLevel(max(logging.WARNING, logging.getLevelName(level.upper())))
