"""Carry a job: from a folder into the shop as facts and blobs, and a visit back into a folder."""

import hashlib
import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec

from leastcut.inspect.records import Reading
from leastcut.job.gather import Gathering
from leastcut.job.look import looks
from leastcut.job.settle import read
from leastcut.job.sources import Folder, outlines
from leastcut.job.values import TABLES
from leastcut.job.visit import Visit, fold
from leastcut.shop.facts import NewFact
from leastcut.shop.files import write_whole
from leastcut.shop.jobfile import JobFileError
from leastcut.shop.jobschema import JobFile
from leastcut.shop.photos import decode
from leastcut.shop.store import Shop
from leastcut.work.runs import Event

_KEY = re.compile(r"[A-Za-z0-9_-]{1,40}")
_PHOTOS = {"photo": ("file",), "trial": ("before", "after"), "proof": ("before", "after")}
_MEDIA = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp", "TIFF": "image/tiff"}
_ENDINGS = {kind: f".{name.lower()}" for name, kind in _MEDIA.items()} | {"image/jpeg": ".jpg"}
PERSON = "carried"


@dataclass(frozen=True, kw_only=True)
class Carried:
    """Where a job came to lie in the shop; `fresh` when it was not there before."""

    car: int
    visit: int
    fresh: bool


def into_shop(path: Path, shop: Shop, *, now_s: float) -> Carried:
    """Carry a job file with its evidence into the shop.

    The same job file with the same evidence is carried once; a changed one becomes a new visit of
    the same car.

    Parameters
    ----------
    path : Path
        The job file.
    shop : Shop
        Where to.
    now_s : float
        The shop's clock [Unix s].

    Returns
    -------
    Carried
        The visit.

    Raises
    ------
    JobFileError
        If anything in the job file cannot be used.
    InputError
        If it cannot be read, or a photo is none.
    """
    folder = Folder.open(path)
    gathered = Gathering(folder)
    if gathered.problems:
        raise JobFileError(tuple(gathered.problems))
    contents = {name: folder.read(name) for name in files(folder.job)}
    mark = _mark(folder, contents)
    people, label = folder.job.people, folder.job.car.label
    cars = [row.car for row in _cars(shop, label, people.client)]
    for car in cars:
        for row in shop.visits(car):
            if any(fact.key == mark for fact in shop.facts(row.visit)):
                return Carried(car=car, visit=row.visit, fresh=False)
    photos = {file for look in looks(folder.job) for file in look.files}
    about = {name: _about(contents[name], name) for name in photos}
    digests = {name: shop.put_blob(content) for name, content in contents.items()}
    car = cars[0] if cars else shop.new_car(label, client=people.client, now_s=now_s)
    visit = shop.new_visit(car, now_s=now_s)
    for name, (media, width, height) in about.items():
        size = len(contents[name])
        shop.note_photo(visit, digests[name], media, width, height, size, now_s)
    made = facts_of(folder.text, gathered, digests)
    shop.append(visit, _marked(made, mark), device=None, person=PERSON, now_s=now_s)
    return Carried(car=car, visit=visit, fresh=True)


def _cars(shop: Shop, label: str, client: str) -> Iterator[Any]:
    """Yield the cars of just this label and client."""
    page = 1
    while True:
        found = shop.cars(search=label, page=page)
        yield from (row for row in found.rows if (row.label, row.client) == (label, client))
        if page >= found.pages:
            return
        page += 1


def files(job: JobFile) -> tuple[str, ...]:
    """Return every photo and outline that a job names."""
    named = [file for look in looks(job) for file in look.files]
    return tuple(dict.fromkeys([*named, *outlines(job)]))


def _mark(folder: Folder, contents: Mapping[str, bytes]) -> str:
    """Return a key that stands for the job file with all of its evidence."""
    film = folder.job.film
    tables = [name for name in (film.readings, film.readings_after, folder.job.run) if name]
    whole = {**contents, **{name: folder.read(name) for name in tables}}
    digest = hashlib.sha256(folder.text.encode())
    for name in sorted(whole):
        digest.update(hashlib.sha256(name.encode() + b"\0" + whole[name]).digest())
    return f"job-{digest.hexdigest()[:36]}"


def _about(content: bytes, name: str) -> tuple[str, int, int]:
    """Return media type, width and height of a photo, decoding it to see that it is one."""
    import io

    from PIL import Image, UnidentifiedImageError

    height, width = decode(content, name).linear.shape[:2]
    try:
        with Image.open(io.BytesIO(content)) as image:
            return _MEDIA.get(str(image.format), "image/jpeg"), width, height
    except UnidentifiedImageError:
        return "image/heic", width, height


def facts_of(text: str, gathered: Gathering, digests: Mapping[str, str]) -> Iterator[NewFact]:
    """Yield the facts that a job file with its evidence comes to.

    Parameters
    ----------
    text : str
        The job file.
    gathered : Gathering
        The same, read.
    digests : mapping of str to str
        Of the photos and outlines, by the names that the job file gives them.
    """
    raw = tomllib.loads(text)
    for name in TABLES:
        table, _, leaf = name.rpartition(".")
        items = (raw.get(table, {}) if table else raw).pop(leaf, [])
        yield from (_added(name, _by_digest(name, item, digests)) for item in items)
    for name in ("readings", "readings_after"):
        raw.get("film", {}).pop(name, None)
    yield from (NewFact(key="", kind="set", field=f, body=v) for f, v in _leaves(raw, ""))
    for reading in gathered.readings:
        yield _added("reading", _reading(reading))
    for reading in gathered.readings_after:
        yield _added("reading", {**_reading(reading), "after": True})
    for event in gathered.events:
        body = msgspec.to_builtins(event)
        key = event.id if _KEY.fullmatch(event.id) else _short(event.id)
        yield NewFact(key=key, kind="add", field="event", body=body)


def _added(field: str, body: dict[str, Any]) -> NewFact:
    return NewFact(key="", kind="add", field=field, body=body)


def _short(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def _by_digest(name: str, item: dict[str, Any], digests: Mapping[str, str]) -> dict[str, Any]:
    named = ("outline_file",) if name == "panel" else _PHOTOS.get(name, ())
    return {k: digests[v] if k in named else v for k, v in item.items()}


def _leaves(table: Mapping[str, Any], above: str) -> Iterator[tuple[str, Any]]:
    """Yield the fields of a job file with their dotted paths; names with values stay together."""
    for name, value in table.items():
        path = f"{above}{name}"
        if path in {"format", "run"}:
            continue
        whole = path in {"car.materials", "prices.stock", "prices.materials"}
        if isinstance(value, dict) and not whole:
            yield from _leaves(value, f"{path}.")
        else:
            yield path, value


def _reading(reading: Reading) -> dict[str, Any]:
    known = msgspec.to_builtins(reading)
    return {k: v for k, v in known.items() if v is not None and k != "line"}


def _marked(facts: Iterator[NewFact], mark: str) -> list[NewFact]:
    """Give each fact a key of its own, and the first the mark of the whole."""
    made = [
        fact if fact.key else msgspec.structs.replace(fact, key=f"{mark[4:28]}-{number}")
        for number, fact in enumerate(facts)
    ]
    note = NewFact(key=mark, kind="add", field="note", body={"text": "Carried from a job file"})
    return [note, *made]


def into_folder(visit: int, shop: Shop, folder: Path) -> Path:
    """Write a visit as a job file with its evidence beside it.

    Parameters
    ----------
    visit : int
        The visit.
    shop : Shop
        Where it is kept.
    folder : Path
        Receives ``job.toml``, photos, readings and the record of the work.

    Returns
    -------
    Path
        The job file.

    Raises
    ------
    JobFileError
        If the visit has no car with a label and a body yet.
    InputError
        If a photo is missing, or the folder cannot be written.
    """
    folded = fold(shop.facts(visit))
    if folded.job is None:
        raise JobFileError(folded.problems)
    names = _file_names(folded.job, shop)
    for digest, name in names.items():
        write_whole(folder / name, shop.blob(digest))
    raw = msgspec.convert(folded.raw, dict[str, Any])
    for table in TABLES:
        _renamed(raw, table, names)
    for name, content in _tables(folded).items():
        write_whole(folder / name, content)
    film = {
        key: name
        for key, name, held in (
            ("readings", "readings.csv", folded.readings),
            ("readings_after", "readings-after.csv", folded.readings_after),
        )
        if held
    }
    if film:
        raw["film"] = {**film, **raw.get("film", {})}
    if folded.events:
        stored = shop.dossier(visit)
        drawn = {} if stored is None else {"sections_for": read(stored[1]).sections_for}
        raw = {"format": 1, "run": "run.jsonl", **drawn, **raw}
    return write_whole(folder / "job.toml", to_toml(raw))


def _file_names(job: JobFile, shop: Shop) -> dict[str, str]:
    """Give every photo and outline of a visit a name in the folder, by digest."""
    names = {}
    for number, digest in enumerate(files(job), start=1):
        photo = shop.photo(digest)
        ending = ".json" if photo is None else _ENDINGS.get(photo.media, ".jpg")
        folder = "outlines" if photo is None else "photos"
        names[digest] = f"{folder}/{number:03d}{ending}"
    return names


def _renamed(raw: dict[str, Any], table: str, names: Mapping[str, str]) -> None:
    fields = ("outline_file",) if table == "panel" else _PHOTOS.get(table, ())
    if fields and table in raw:
        raw[table] = [
            {k: names[v] if k in fields else v for k, v in item.items()} for item in raw[table]
        ]


def _tables(visit: Visit) -> dict[str, str]:
    """Return the readings and the record of the work as files."""
    made = {}
    if visit.readings:
        made["readings.csv"] = readings_csv(visit.readings)
    if visit.readings_after:
        made["readings-after.csv"] = readings_csv(visit.readings_after)
    if visit.events:
        made["run.jsonl"] = events_text(visit.events)
    return made


def readings_csv(readings: tuple[Reading, ...]) -> str:
    """Return readings as the CSV file that a job file names."""
    import csv
    import io

    columns = ("panel", "spot", "reading_um", "layer", "substrate", "x_mm", "y_mm")
    held = io.StringIO()
    writer = csv.writer(held, lineterminator="\n")
    writer.writerow(columns)
    for reading in readings:
        cells = (getattr(reading, column) for column in columns)
        writer.writerow(["" if cell is None else cell for cell in cells])
    return held.getvalue()


def events_text(events: tuple[Event, ...]) -> str:
    """Return the record of the work as the JSON lines that a job file names."""
    return "".join(f"{msgspec.json.encode(event).decode()}\n" for event in events)


def to_toml(raw: Mapping[str, Any]) -> str:
    """Return a job file's dictionary as TOML."""
    return "\n".join(_toml(raw, "")).lstrip("\n") + "\n"


def _toml(table: Mapping[str, Any], above: str) -> Iterator[str]:
    def nested(value: Any) -> bool:
        return isinstance(value, dict) or (
            isinstance(value, list | tuple) and bool(value) and isinstance(value[0], dict)
        )

    for name, value in table.items():
        if not nested(value):
            yield f"{_name(name)} = {_value(value)}"
    for name, value in table.items():
        if nested(value):
            path = f"{above}{_name(name)}"
            for item in [value] if isinstance(value, dict) else value:
                yield f"\n[{path}]" if isinstance(value, dict) else f"\n[[{path}]]"
                yield from _toml(item, f"{path}.")


def _name(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _value(name)


def _value(value: Any) -> str:
    """Write one value; JSON's text is TOML's, but for one control sign and beyond-16-bit escapes."""
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_value, value)) + "]"
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
