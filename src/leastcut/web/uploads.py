"""Photos in, piece by piece, and out again to whoever may see a visit that holds them."""

import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import msgspec
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from leastcut.shop.blobs import DIGEST
from leastcut.shop.guard import SIZES, TakenIn, take_in
from leastcut.shop.photos import PhotoError
from leastcut.shop.trouble import ShopError
from leastcut.web.chunks import Chunks, Note, UploadError
from leastcut.web.refusing import Refusal
from leastcut.web.who import Who, need, who_of

T = TypeVar("T")

WRITE_AT_ONCE = 256 * 1024
# A photo's address is its content: it never changes, so a browser need never ask again.
FOREVER = "private, max-age=31536000, immutable"
# Should a browser ever show one of these files as a page, it can do nothing.
SEALED = "default-src 'none'; sandbox"


class Begin(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What shall be sent."""

    name: str = ""
    bytes: int


class Begun(msgspec.Struct, frozen=True, kw_only=True):
    """The upload's name for what follows."""

    upload: str


class Have(msgspec.Struct, frozen=True, kw_only=True):
    """How much has come so far, from the start without a gap [bytes]."""

    have: int


class Behind(Have, frozen=True, kw_only=True):
    """A piece that does not follow what is there: how much that is, and what to do."""

    why: str
    do: str


class Finish(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The visit that the photo is for."""

    visit: int


class Finished(msgspec.Struct, frozen=True, kw_only=True):
    """The photo's address and upright size [px]."""

    file: str
    width: int
    height: int


def answer(record: Any, status: int = 200) -> Response:
    """Return a record as JSON."""
    return Response(msgspec.json.encode(record), status, media_type="application/json")


def refused(status: int, why: str, do: str) -> Response:
    """Return why something was not taken, as JSON."""
    return answer(Refusal(why=why, do=do), status)


def chunks_of(request: Request) -> Chunks:
    """Return the folder of uploads on their way."""
    state = request.app.state
    if not hasattr(state, "chunks"):
        settings = state.settings
        folder = settings.uploads or Path(tempfile.mkdtemp(prefix="leastcut-uploads-"))
        state.chunks = Chunks(folder, most=settings.limits.uploads)
    found: Chunks = state.chunks
    return found


async def _decoded(request: Request, kind: Callable[..., T]) -> T | Response:
    try:
        made: T = msgspec.json.decode(await request.body(), type=kind)
    except (msgspec.DecodeError, RecursionError) as error:
        return refused(422, f"this is not what is taken here: {error}", "Send what the page sends")
    return made


def _gone() -> Response:
    return refused(404, "there is no such upload (any more)", "Begin again")


async def begin(request: Request) -> Response:
    """Begin an upload."""
    who = need(request, "write")
    asked = await _decoded(request, Begin)
    if isinstance(asked, Response):
        return asked
    most = request.app.state.settings.limits.upload_bytes
    if not 0 < asked.bytes <= most:
        why = f"a photo has 1 byte to {most // 1_000_000} MB, not {asked.bytes} bytes"
        return refused(413 if asked.bytes > most else 422, why, "Save it as a JPEG")
    try:
        name = await run_in_threadpool(chunks_of(request).begin, who.device or 0, asked.bytes)
    except UploadError as error:
        return refused(429, error.what, error.do)
    return answer(Begun(upload=name), 201)


async def _note(request: Request) -> Note | None:
    who = need(request, "write")
    name = request.path_params["upload"]
    return await run_in_threadpool(chunks_of(request).note, name, who.device or 0)


async def have(request: Request) -> Response:
    """Tell how much has come."""
    note = await _note(request)
    if note is None:
        return _gone()
    name = request.path_params["upload"]
    return answer(Have(have=note.bytes if note.file else chunks_of(request).have(name)))


async def put(request: Request) -> Response:
    """Take a piece; what arrived of it before a cut stays."""
    note = await _note(request)
    if note is None:
        return _gone()
    name, asked = request.path_params["upload"], request.query_params.get("at", "")
    if not (asked.isascii() and asked.isdecimal() and len(asked) < 13):
        return refused(422, "the place of the piece is no number", "Send it as ?at=BYTES")
    if not request.headers.get("content-type"):
        return refused(415, "there is no piece", "Send it as application/octet-stream")
    with chunks_of(request).alone(name) as alone:
        if not alone:
            return _busy(request, name)
        return await _pieces(request, name, note, int(asked))


async def _pieces(request: Request, name: str, note: Note, at: int) -> Response:
    chunks = chunks_of(request)
    here = note.bytes if note.file else await run_in_threadpool(chunks.have, name)
    if at != here:
        told = Behind(have=here, why=f"{here} bytes are here", do=f"Go on at {here}")
        return answer(told, 409)
    waiting = bytearray()
    try:
        async for piece in request.stream():
            waiting += piece
            if here + len(waiting) > note.bytes:
                return refused(413, f"more than the {note.bytes} bytes announced", "Begin again")
            if len(waiting) >= WRITE_AT_ONCE:
                here = await run_in_threadpool(chunks.write, name, here, bytes(waiting))
                waiting.clear()
    except ClientDisconnect:
        pass
    if waiting:
        here = await run_in_threadpool(chunks.write, name, here, bytes(waiting))
    return answer(Have(have=here))


def _busy(request: Request, name: str) -> Response:
    """Refuse what came while the same upload is being worked on: a piece sent again too early."""
    here = chunks_of(request).have(name)
    why = "another piece of it is being taken right now"
    return answer(Behind(have=here, why=why, do="Ask again in a moment"), 409)


async def finish(request: Request) -> Response:
    """Take the whole photo into a visit."""
    note = await _note(request)
    if note is None:
        return _gone()
    asked = await _decoded(request, Finish)
    if isinstance(asked, Response):
        return asked
    name = request.path_params["upload"]
    with chunks_of(request).alone(name) as alone:
        if not alone:
            return _busy(request, name)
        note = await _note(request)
        if note is None:
            return _gone()
        if note.file and note.visit == asked.visit:
            return answer(Finished(file=note.file, width=note.width, height=note.height))
        return await _taken(request, name, note, asked.visit)


async def _taken(request: Request, name: str, note: Note, visit: int) -> Response:
    chunks, shop = chunks_of(request), request.app.state.shop
    here = await run_in_threadpool(chunks.have, name)
    if here != note.bytes:
        told = Behind(have=here, why=f"{here} of {note.bytes} bytes are here", do="Send the rest")
        return answer(told, 409)
    if not 0 < visit < 2**31 or await run_in_threadpool(shop.visit, visit) is None:
        return refused(404, "there is no such visit", "Open it from the cars")
    try:
        made = await run_in_threadpool(keep, shop, chunks.part(name), visit)
    except PhotoError as error:
        await run_in_threadpool(chunks.drop, name)
        return refused(422, error.what, error.do)
    done = msgspec.structs.replace(
        note, visit=visit, file=made.file, width=made.width, height=made.height
    )
    await run_in_threadpool(chunks.keep, name, done)
    await run_in_threadpool(chunks.empty, name)
    return answer(made)


async def give_up(request: Request) -> Response:
    """Forget an upload."""
    if await _note(request) is None:
        return _gone()
    await run_in_threadpool(chunks_of(request).drop, request.path_params["upload"])
    return Response(status_code=204)


def keep(shop: Any, file: Path, visit: int) -> Finished:
    """Take a photo from a file into the shop and link it to a visit.

    Parameters
    ----------
    shop : Shop
        Where it is kept.
    file : Path
        As it was sent.
    visit : int
        The visit.

    Raises
    ------
    PhotoError
        If it is no photo or too much for the limits.
    ShopError
        If it cannot be kept.
    """
    made: TakenIn = take_in(file)
    digest = shop.put_blob(made.content)
    for name, body in made.smaller.items():
        shop.put_picture(picture_key(digest, name), body)
    size = len(made.content)
    shop.note_photo(visit, digest, made.media, made.width, made.height, size, time.time())
    return Finished(file=digest, width=made.width, height=made.height)


def picture_key(digest: str, size: str) -> str:
    """Return the key of a photo's smaller version."""
    return f"{digest}-{size}"


async def take(request: Request, upload: UploadFile, *, visit: int) -> str:
    """Take a photo out of a plain form into a visit; return its digest.

    Raises
    ------
    PhotoError
        If it is no photo or too much for the limits.
    HTTPException
        403 if who asks may not write.
    """
    need(request, "write")

    def work() -> str:
        with tempfile.NamedTemporaryFile(prefix="leastcut-") as file:
            while piece := upload.file.read(WRITE_AT_ONCE):
                file.write(piece)
            file.flush()
            return keep(request.app.state.shop, Path(file.name), visit).file

    return await run_in_threadpool(work)


async def photo(request: Request) -> Response:
    """Give a photo, or a smaller version, to whoever may see a visit that holds it.

    Raises
    ------
    HTTPException
        404 if there is none such for who asks: a photo of another visit is as good as none.
    """
    who = who_of(request)
    digest, size = request.path_params["digest"], request.query_params.get("size", "full")
    if DIGEST.fullmatch(digest) is None or size not in {*SIZES, "full"}:
        raise HTTPException(404, "there is no such photo")
    return await run_in_threadpool(_photo, request, who, digest, size)


def _photo(request: Request, who: Who, digest: str, size: str) -> Response:
    shop = request.app.state.shop
    row = shop.photo(digest)
    if row is None or not any(map(who.sees, row.visits)):
        raise HTTPException(404, "there is no such photo")
    tag = f'"{digest}-{size}"'
    headers = {"cache-control": FOREVER, "content-security-policy": SEALED, "etag": tag}
    if request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers=headers)
    if size == "full":
        return _full(shop, digest, row.media, headers)
    body = shop.picture(picture_key(digest, size)) or _again(shop, digest, size)
    return Response(body, media_type="image/jpeg", headers=headers)


def _full(shop: Any, digest: str, media: str, headers: dict[str, str]) -> Response:
    path = shop.blob_path(digest)
    if path is None or not path.is_file():
        return Response(shop.blob(digest), media_type=media, headers=headers)
    return FileResponse(path, media_type=media, headers=headers)


def _again(shop: Any, digest: str, size: str) -> bytes:
    """Make a smaller version anew, where pruning let it go or the photo came with a job file."""
    try:
        with shop.blob_file(digest) as file:
            made = take_in(file)
    except (PhotoError, ShopError):
        raise HTTPException(404, "there is no such photo") from None
    for name, body in made.smaller.items():
        shop.put_picture(picture_key(digest, name), body)
    return made.smaller[size]


routes = [
    Route("/api/uploads", begin, methods=["POST"]),
    Route("/api/uploads/{upload}", have, methods=["GET"]),
    Route("/api/uploads/{upload}", put, methods=["PUT"]),
    Route("/api/uploads/{upload}", give_up, methods=["DELETE"]),
    Route("/api/uploads/{upload}/finish", finish, methods=["POST"]),
    Route("/photos/{digest}", photo),
    Route("/see/{token}/photos/{digest}", photo),
]
