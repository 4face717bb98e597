"""Every parser that meets bytes from outside, each as one function of bytes, with valid beginnings.

A parser may return or raise an `InputError` (a sentence for a person); anything else is a crash.
Used by the fuzzer in ``bench`` and by the test that replays its corpus.
"""

import tempfile
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import msgspec
from aside import finish
from pictures_for_tests import photo

from leastcut.errors import InputError

Parser = Callable[[bytes], object]


def _on_file(read: Callable[[Path], object], name: str) -> Parser:
    """Return a parser of bytes from one that reads a file."""

    def parse(data: bytes) -> object:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / name
            path.write_bytes(data)
            return read(path)

    return parse


def _job(path: Path) -> object:
    from leastcut.job.gather import Gathering
    from leastcut.job.sources import Folder
    from leastcut.shop import jobfile

    job, problems = jobfile.read(path)
    if job is not None and not problems:
        return Gathering(Folder.open(path)).problems
    return problems


def _readings(path: Path) -> object:
    from leastcut.inspect.readings import parse_history, parse_rows
    from leastcut.shop.readings import read_rows

    rows = read_rows(path)
    good, problems = parse_rows(rows, where="r.csv", panels=None)
    history, more = parse_history(rows, where="r.csv", panels=None)
    return good, problems, history, more


def _trials(path: Path) -> object:
    from leastcut.shop import trialsfile

    file = trialsfile.read(path)
    return trialsfile.ladder(file), trialsfile.trials(file)


def _lessons(path: Path) -> object:
    from leastcut.shop.lessonsfile import read

    return read(path)


def _outline(path: Path) -> object:
    from leastcut.cli.plan import _read

    return _read(path)


def _traced(path: Path) -> object:
    from leastcut.cli.car import _traced as read

    return read(path)


def _calendar(data: bytes) -> object:
    from leastcut.cli.plan_dates import read, shop_of

    return shop_of(read(data, "c.toml"), "c.toml")


def _config(path: Path) -> object:
    from leastcut.shop.config import read_config

    return read_config({}, file=path)


def _video(path: Path) -> object:
    from itertools import islice

    from leastcut.shop.video import frames

    return sum(1 for _ in islice(frames(path), 5))


def _photo(data: bytes) -> object:
    from leastcut.shop.photos import decode

    return decode(data).linear.shape


def _stripped(data: bytes) -> object:
    from leastcut.shop.strip import LOSSLESS

    heads = {b"\xff\xd8": "JPEG", b"\x89P": "PNG", b"RI": "WEBP"}
    kind = heads.get(data[:2], "JPEG")
    return kind, LOSSLESS[kind](data, 6)[:2]


def _facts(data: bytes) -> object:
    from leastcut.job.visit import fold
    from leastcut.shop.facts import Fact, NewFact
    from leastcut.web.bodies import wrong_json
    from leastcut.web.factsapi import contradictions, sorted_out
    from leastcut.web.who import Who

    if wrong_json(data) is not None:
        return "refused"
    try:
        new = msgspec.json.decode(data, type=list[NewFact])
    except (msgspec.DecodeError, RecursionError):
        return "refused"
    shop: Any = SimpleNamespace(photo=lambda _: None)
    who = Who(person="fuzz", role="detailer", device=1)
    good, refused = sorted_out(new, (), who, shop=shop, visit=1, now_s=1.0)
    known = [
        Fact(id=n + 1, at_s=1.0, device=1, person="fuzz", **msgspec.structs.asdict(fact))
        for n, fact in enumerate(good)
    ]
    now = fold(known)
    msgspec.json.encode(contradictions(now))
    return sorted({one.why[:12] for one in refused}), now.job is None


def _form(data: bytes) -> object:
    import io

    from leastcut.web.bodies import form_token

    kind = (
        b"multipart/form-data; boundary=x"
        if data.startswith(b"--x")
        else b"application/x-www-form-urlencoded"
    )
    scope = {"headers": [(b"content-type", kind)]}
    return finish(form_token(scope, io.BytesIO(data)))


def _typed(data: bytes) -> object:
    from leastcut.web import forms

    words = data.decode("utf-8", "replace")
    found = []
    for path in ("car.length", "car.body", "wash.dry", "prices.labour_per_hour", "room.volume"):
        try:
            found.append(forms.value_of(words, path, forms.kind_at(path), "us"))
        except InputError as error:
            found.append(type(error).__name__)
    return found


PARSERS: dict[str, Parser] = {
    "job": _on_file(_job, "job.toml"),
    "readings": _on_file(_readings, "readings.csv"),
    "trials": _on_file(_trials, "trials.toml"),
    "lessons": _on_file(_lessons, "lessons.json"),
    "outline": _on_file(_outline, "outline.json"),
    "traced": _on_file(_traced, "traced.json"),
    "calendar": _calendar,
    "config": _on_file(_config, "leastcut.toml"),
    "video": _on_file(_video, "clip.mp4"),
    "photo": _photo,
    "stripped": _stripped,
    "facts": _facts,
    "form": _form,
    "typed": _typed,
}

JOB = b"""format = 1
[car]
label = "blue estate"
body = "estate"
length = "4.5 m"
width = "1800 mm"
[car.paint]
system = "clear-over-base"
[target]
finish = "show"
[wash]
washed = "washed"
feel = "smooth"
[[film.check]]
nominal_um = 100
shown_um = [101, 99]
[[trial]]
process = "finishing"
sets = 2
verdict = "some-left"
[prices]
labour_per_hour = 60
"""
FACTS = (
    b'[{"key":"a1","kind":"set","field":"car.label","body":"estate"},'
    b'{"key":"a2","kind":"set","field":"car.length","body":"4500 mm","base":1,"made_s":1.5},'
    b'{"key":"a3","kind":"add","field":"reading","body":{"panel":"bonnet","spot":"1","reading_um":110}},'
    b'{"key":"a4","kind":"add","field":"note","body":{"text":"x"}},'
    b'{"key":"a5","kind":"drop","field":"note/a4"},'
    b'{"key":"a6","kind":"add","field":"event","body":{"kind":"start","at_s":1,"panel":"bonnet","section":"1"}}]'
)
# Valid or nearly so: what is tried begins here and is then broken.
BEGINNINGS: dict[str, list[bytes]] = {
    "job": [JOB, b'format = 1\n[car]\nlabel = "a"\nbody = "van"\n'],
    "readings": [b"panel,spot,reading_um,x_mm,y_mm\nbonnet,1,110,10,20\nroof,2,99.5,,\n", b"panel;spot;reading_mil\nbonnet;1;4,5\n", b"panel,date,cut_um\nbonnet,2025-01-02,3\n"],
    "trials": [b'[[trial]]\nprocess = "finishing"\nsets = 2\nremoved = 0.5\nverdict = "some-left"\n[paint]\nsystem = "clear-over-base"\n', b'[[process]]\nname = "a"\npad = "wool"\nliquid = "heavy"\n'],
    "lessons": [b'{"format":1,"lessons":[]}'],
    "outline": [b'{"panel":"bonnet","outline_mm":[[0,0],[1000,0],[1000,800],[0,800]],"keep_out_mm":[[[100,100],[200,100],[200,200]]],"max_side_mm":610,"overlap_mm":50}'],
    "traced": [b'{"panel":"a","outline_px":[[0,0],[10,0],[10,10]],"square_px":[[0,0],[1,0],[1,1],[0,1]]}'],
    "calendar": [b'bays = 1\npeople = 2\nclosed = [2026-12-25]\ndays = 30\n[open]\nmon = ["08:00", "17:00"]\n'],
    "config": [b'shop = "x"\nport = 8136\nhosts = ["bay.local"]\n[limits]\nuploads = 5\n'],
    "video": [b"\x00\x00\x00\x18ftypmp42\x00\x00\x00\x00mp42isom\x00\x00\x00\x08moov", b"\x1a\x45\xdf\xa3\x01\x00\x00\x00\x00\x00\x00\x1f\x42\x86\x81\x01\x42\xf7\x81\x01\x42\xf2\x81\x04\x42\xf3\x81\x08\x42\x82\x84webm", b"RIFF\x24\x00\x00\x00AVI LIST\x14\x00\x00\x00hdrlavih"],
    "photo": [photo("JPEG", quality=30), photo("PNG"), photo("WEBP", quality=20), photo("TIFF")],
    "stripped": [photo("JPEG", quality=30, progressive=True), photo("PNG"), photo("WEBP", quality=20)],
    "facts": [FACTS],
    "form": [b"csrf=abc&label=x&csrf=y", b'--x\r\nContent-Disposition: form-data; name="csrf"\r\n\r\nabc\r\n--x\r\nContent-Disposition: form-data; name="f"; filename="a.jpg"\r\nContent-Type: image/jpeg\r\n\r\n\xff\xd8\r\n--x--\r\n'],
    "typed": [b"4.5 m", b"14 ft 1 in", b"yes", b"60", b"1 800,5 mm", "30 m³".encode()],
}  # fmt: skip


def outcome(name: str, data: bytes) -> tuple[str, BaseException | None]:
    """Return what became of an input in a few words, and the crash if it was one."""
    import re

    try:
        made = PARSERS[name](data)
    except InputError as error:
        return re.sub(r"'[^']*'|\d+|\W+", " ", f"{type(error).__name__} {error.what}")[:80], None
    except Exception as error:  # noqa: BLE001 - that is what is looked for
        return f"crash {type(error).__name__}", error
    return f"ok {re.sub(r'[^A-Za-z]+', ' ', repr(made))[:40]}", None
