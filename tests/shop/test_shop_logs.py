"""The log: one line an event, machine-readable, and no secret in it however it was logged."""

import io
import json
import logging
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leastcut.shop import logs

SECRET = "hunter2-Zq9"


@pytest.fixture
def quiet() -> Iterator[None]:
    """Leave the logging of the tests as it was."""
    root = logging.getLogger()
    before, level = list(root.handlers), root.level
    levels = {n: logging.getLogger(n).level for n in ("sqlalchemy", "alembic", "PIL", "asyncio")}
    yield
    root.handlers[:] = before
    root.setLevel(level)
    for name, was in levels.items():
        logging.getLogger(name).setLevel(was)


def logged(form: str, *arguments: object, level: str = "info", **extra: object) -> str:
    stream = io.StringIO()
    logs.set_up(form=form, level=level, stream=stream)
    logging.getLogger("leastcut.web").info(*arguments, extra=extra)  # type: ignore[arg-type]
    return stream.getvalue()


@pytest.mark.usefixtures("quiet")
def test_a_line_of_json_tells_what_was_added() -> None:
    told = json.loads(logged("json", "%s came", "Ana", status=200, took_ms=1.5))
    assert told["what"] == "Ana came"
    assert (told["level"], told["logger"], told["status"]) == ("info", "leastcut.web", 200)
    assert told["at"].endswith("+00:00")


@pytest.mark.usefixtures("quiet")
@pytest.mark.parametrize("form", ["text", "json"])
def test_one_event_is_one_line(form: str) -> None:
    line = logged(form, "GET /x\nfake 2026 line\r\n%s", "ü")
    assert line.count("\n") == 1
    assert logged(form, "quiet", level="warning") == ""


@pytest.mark.usefixtures("quiet")
@pytest.mark.parametrize("form", ["text", "json"])
@pytest.mark.parametrize(
    "words",
    [
        f"cannot reach postgresql+psycopg://shop:{SECRET}@db:5432/shop",
        f"cannot reach postgresql://shop:p@ss{SECRET}@db/shop",
        f"GET /see/{SECRET}/panel/hood 200",
        f"POST /pair/{SECRET}",
        f"POST /pair?code={SECRET}&x=1",
        f"GET /enter?key={SECRET}&then=/ 303",
        f"Cookie: device={SECRET}; lang=es",
        f"Authorization: Bearer {SECRET}",
        f'{{"password": "{SECRET}"}}',
        f"csrf={SECRET}",
        f"X-CSRF-Token: {SECRET}",
        f"password='{SECRET}'",
        f"api_key={SECRET}",
    ],
)
def test_no_secret_is_logged(form: str, words: str) -> None:
    assert SECRET not in logged(form, words)
    assert SECRET not in logged(form, "failed: %s", words)
    assert SECRET not in logged(form, "failed", detail=words)
    assert SECRET not in logged(form, "failed", detail={"deep": [words]})


@pytest.mark.usefixtures("quiet")
@pytest.mark.parametrize("form", ["text", "json"])
def test_a_field_that_holds_a_secret_is_hidden(form: str) -> None:
    for name in ("password", "token", "csrf_token", "device_key", "key_hash", "cookie", "code"):
        assert SECRET not in logged(form, "x", **{name: SECRET})
        assert SECRET not in logged(form, "x", added={name: SECRET})
    assert "spot" in logged(form, "x", keyed="spot")


@pytest.mark.usefixtures("quiet")
@pytest.mark.parametrize("form", ["text", "json"])
def test_an_error_is_told_without_its_secret(form: str) -> None:
    stream = io.StringIO()
    logs.set_up(form=form, stream=stream)
    try:
        raise ValueError(f"no answer from postgresql://shop:{SECRET}@db/shop")
    except ValueError:
        logging.getLogger("leastcut").exception("it failed")
    assert SECRET not in stream.getvalue()
    assert "ValueError" in stream.getvalue()


@pytest.mark.usefixtures("quiet")
def test_setting_up_again_replaces() -> None:
    first = io.StringIO()
    logs.set_up(stream=first)
    assert "again" in logged("json", "again")
    assert first.getvalue() == ""


@given(words=st.text())
def test_plain_words_stay_and_nothing_breaks(words: str) -> None:
    assert isinstance(logs.without_secrets(words), str)
    plain = "panel hood: 3 marks, 12.5 um left, see docs/shop.md"
    assert logs.without_secrets(plain) == plain


@given(secret=st.text(alphabet="abcXYZ019._~!$-", min_size=6, max_size=30))
def test_any_password_in_an_address_goes(secret: str) -> None:
    assert secret not in logs.without_secrets(f"at postgresql://u:{secret}@h/d now")
