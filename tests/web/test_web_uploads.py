"""Photos in pieces: cuts, restarts, replays; what is kept of a photo; who may see it."""

import hashlib
import io
import os
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx2
import numpy as np
import pytest
from door import Desk, Still, desk, written_down
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pictures_for_tests import SECRETS, photo, upright
from PIL import Image
from starlette.testclient import TestClient

from leastcut.shop import guard, strip
from leastcut.shop.guard import take_in
from leastcut.shop.links import Links
from leastcut.shop.photos import PhotoError
from leastcut.web.app import create_app
from leastcut.web.chunks import Chunks, Note, UploadError

RAW = {"content-type": "application/octet-stream"}


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    with desk(tmp_path_factory.mktemp("uploads")) as made:
        yield made


@pytest.fixture
def client(bench: Desk) -> TestClient:
    return bench.paired()


def begin(client: TestClient, size: int) -> str:
    answer = client.post("/api/uploads", json={"name": "a.jpg", "bytes": size})
    assert answer.status_code == 201, answer.text
    return str(answer.json()["upload"])


def put(client: TestClient, name: str, at: int, piece: bytes) -> httpx2.Response:
    return client.put(f"/api/uploads/{name}?at={at}", content=piece, headers=RAW)


def send(client: TestClient, content: bytes, visit: int, *, piece: int = 4096) -> httpx2.Response:
    name = begin(client, len(content))
    for at in range(0, len(content), piece):
        put(client, name, at, content[at : at + piece])
    return client.post(f"/api/uploads/{name}/finish", json={"visit": visit})


def test_a_photo_comes_in_pieces_and_goes_out(bench: Desk, client: TestClient) -> None:
    content = photo(turn=6)
    answer = send(client, content, bench.visit)
    assert answer.status_code == 200, answer.text
    made = answer.json()
    assert (made["width"], made["height"]) == (200, 320)
    kept = client.get(f"/photos/{made['file']}")
    assert kept.headers["content-type"] == "image/jpeg"
    # the address is the content's SHA-256, computed here by the standard library
    assert hashlib.sha256(kept.content).hexdigest() == made["file"]
    assert np.array_equal(upright(kept.content), upright(content))
    assert "immutable" in kept.headers["cache-control"]
    assert "sandbox" in kept.headers["content-security-policy"]
    again = client.get(f"/photos/{made['file']}", headers={"if-none-match": kept.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    part = client.get(f"/photos/{made['file']}", headers={"range": "bytes=10-19"})
    assert (part.status_code, part.content) == (206, kept.content[10:20])


@pytest.mark.parametrize(("size", "side"), [("small", 480), ("screen", 1600)])
def test_smaller_versions(bench: Desk, client: TestClient, size: str, side: int) -> None:
    out = io.BytesIO()
    noise = np.random.default_rng(3).integers(0, 255, (12, 18, 3), np.uint8)
    Image.fromarray(noise).resize((1800, 1200)).save(out, "JPEG")
    made = send(client, out.getvalue(), bench.visit, piece=100_000).json()
    answer = client.get(f"/photos/{made['file']}?size={size}")
    with Image.open(io.BytesIO(answer.content)) as shown:
        assert (shown.format, max(shown.size)) == ("JPEG", side)
        assert shown.size[0] / shown.size[1] == pytest.approx(1.5, abs=0.01)
    assert client.get(f"/photos/{made['file']}?size=huge").status_code == 404


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("turn", [1, 3, 6, 8])
def test_place_owner_and_remarks_are_gone_and_no_pixel_is(
    tmp_path: Path, kind: str, turn: int
) -> None:
    content = photo(kind, turn=turn) + b"<html><script>alert(1)</script>PK\x03\x04"
    file = tmp_path / "sent"
    file.write_bytes(content)
    made = take_in(file)
    for secret in SECRETS:
        assert secret.encode() not in made.content
    assert np.array_equal(upright(made.content), upright(content))
    with Image.open(io.BytesIO(made.content)) as kept:
        assert dict(kept.getexif()) == ({} if turn == 1 else {0x0112: turn})
        assert kept.format == kind


@pytest.mark.parametrize(
    "more", [{"progressive": True}, {"quality": 95, "subsampling": 0}, {"comment": b"script"}]
)
def test_every_way_of_jpeg(tmp_path: Path, more: dict[str, Any]) -> None:
    content = photo("JPEG", turn=5, **more)
    file = tmp_path / "sent"
    file.write_bytes(content)
    made = take_in(file)
    assert np.array_equal(upright(made.content), upright(content))
    assert b"script" not in made.content


def test_a_profile_of_colours_stays(tmp_path: Path) -> None:
    from PIL import ImageCms

    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    for kind in ("JPEG", "PNG", "WEBP"):
        (tmp_path / kind).write_bytes(photo(kind, icc_profile=profile))
        with Image.open(io.BytesIO(take_in(tmp_path / kind).content)) as kept:
            assert kept.info["icc_profile"] == profile


def test_a_tiff_is_written_anew_without_loss(tmp_path: Path) -> None:
    content = photo("TIFF")
    (tmp_path / "sent").write_bytes(content)
    made = take_in(tmp_path / "sent")
    assert made.media == "image/png"
    assert np.array_equal(upright(made.content), upright(content))
    assert b"Ana" not in made.content


def test_sixteen_bits_of_grey_stay(tmp_path: Path) -> None:
    grey = np.arange(64 * 64, dtype=np.uint16).reshape(64, 64) * 13
    Image.fromarray(grey).save(tmp_path / "a.png")
    made = take_in(tmp_path / "a.png")
    with Image.open(io.BytesIO(made.content)) as kept:
        assert np.array_equal(np.asarray(kept), grey)


def test_what_is_clear_becomes_black_in_small(tmp_path: Path) -> None:
    Image.new("RGBA", (40, 30), (255, 0, 0, 0)).save(tmp_path / "a.png")
    with Image.open(io.BytesIO(take_in(tmp_path / "a.png").smaller["small"])) as small:
        assert max(np.asarray(small).max(axis=(0, 1))) < 8


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.sampled_from(["JPEG", "PNG", "WEBP"]), st.data())
def test_a_damaged_file_is_refused_or_whole(kind: str, data: st.DataObject) -> None:
    content = bytearray(photo(kind))
    for _ in range(data.draw(st.integers(1, 4))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    cut = bytes(content[: data.draw(st.integers(0, len(content)))])
    try:
        made = strip.LOSSLESS[kind](cut, 1)
    except PhotoError:
        return
    for secret in SECRETS:
        assert secret.encode() not in made
    assert len(made) <= len(cut) + 64


def test_a_cut_costs_the_last_piece_only(bench: Desk, client: TestClient) -> None:
    content = photo()
    name = begin(client, len(content))
    put(client, name, 0, content[:3000])
    assert client.get(f"/api/uploads/{name}").json() == {"have": 3000}
    replay = put(client, name, 0, content[:3000])
    assert (replay.status_code, replay.json()["have"]) == (409, 3000)
    ahead = put(client, name, 5000, content[5000:6000])
    assert (ahead.status_code, ahead.json()["have"]) == (409, 3000)
    early = client.post(f"/api/uploads/{name}/finish", json={"visit": bench.visit})
    assert (early.status_code, early.json()["have"]) == (409, 3000)
    put(client, name, 3000, content[3000:])
    first = client.post(f"/api/uploads/{name}/finish", json={"visit": bench.visit})
    second = client.post(f"/api/uploads/{name}/finish", json={"visit": bench.visit})
    assert first.json() == second.json()
    assert client.get(f"/api/uploads/{name}").json() == {"have": len(content)}


def test_an_upload_outlives_the_server(tmp_path: Path) -> None:
    content = photo()
    with desk(tmp_path) as first:
        key = first.key()
        name = begin(first.paired(key), len(content))
        put(first.paired(key), name, 0, content[:3000])
        app = create_app(first.shop, Still(), first.app.state.settings)
        second = replace(first, app=app)
        client = second.paired(key)
        assert client.get(f"/api/uploads/{name}").json() == {"have": 3000}
        put(client, name, 3000, content[3000:])
        done = client.post(f"/api/uploads/{name}/finish", json={"visit": second.visit})
        assert done.status_code == 200
        app.state.wonderer.close()
        written_down(app)


def test_two_at_once_write_no_byte_twice(bench: Desk) -> None:
    content, key = photo(seed=9), bench.key()
    name = begin(bench.paired(key), len(content))
    statuses: list[int] = []

    def attempt() -> None:
        statuses.append(put(bench.paired(key), name, 0, content).status_code)

    threads = [threading.Thread(target=attempt) for _ in range(5)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(statuses) == [200, 409, 409, 409, 409]
    done = bench.paired(key).post(f"/api/uploads/{name}/finish", json={"visit": bench.visit})
    assert done.status_code == 200


@settings(
    max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(cuts=st.lists(st.integers(1, 5000), min_size=1, max_size=12))
def test_any_cutting_gives_the_same_bytes(
    tmp_path_factory: pytest.TempPathFactory, cuts: list[int]
) -> None:
    content = os.urandom(sum(cuts))
    chunks = Chunks(tmp_path_factory.mktemp("cuts"), most=3)
    name, at = chunks.begin(1, len(content)), 0
    for cut in cuts:
        assert chunks.have(name) == at
        at = chunks.write(name, at, content[at : at + cut])
    assert chunks.part(name).read_bytes() == content


def test_an_upload_belongs_to_its_device(bench: Desk, client: TestClient) -> None:
    name = begin(client, 100)
    other = bench.paired()
    assert other.get(f"/api/uploads/{name}").status_code == 404
    assert put(other, name, 0, b"x").status_code == 404
    assert other.delete(f"/api/uploads/{name}").status_code == 404
    assert client.delete(f"/api/uploads/{name}").status_code == 204
    assert client.get(f"/api/uploads/{name}").status_code == 404


@pytest.mark.parametrize("size", [0, -1, 10**12, 1.5, "5", None])
def test_sizes_that_cannot_be(client: TestClient, size: object) -> None:
    answer = client.post("/api/uploads", json={"name": "a", "bytes": size})
    assert answer.status_code in {413, 422}
    assert answer.json()["do"]


def test_more_bytes_than_announced(client: TestClient) -> None:
    name = begin(client, 10)
    assert put(client, name, 0, b"x" * 11).status_code == 413
    assert put(client, name, 0, b"x" * 10).status_code == 200


@pytest.mark.parametrize("at", ["", "x", "-1", "1e3", "9" * 20, "٣"])
def test_places_that_are_no_number(client: TestClient, at: str) -> None:
    name = begin(client, 10)
    answer = client.put(f"/api/uploads/{name}", params={"at": at}, content=b"x", headers=RAW)
    assert answer.status_code == 422


def test_no_device_fills_the_disk_with_begun_uploads(tmp_path: Path) -> None:
    chunks = Chunks(tmp_path / "waiting", most=2)
    first = chunks.begin(1, 10)
    chunks.begin(1, 10)
    with pytest.raises(UploadError):
        chunks.begin(1, 10)
    assert chunks.begin(2, 10)
    old = time.time() - 2 * 86400
    for file in (tmp_path / "waiting").glob(f"{first}.*"):
        os.utime(file, (old, old))
    assert chunks.begin(1, 10)
    assert chunks.note(first, 1) is None


def test_a_visit_that_is_not_there(bench: Desk, client: TestClient) -> None:
    for visit in (99, 0, -1, 2**40):
        assert send(client, photo(), visit, piece=10**6).status_code == 404
    del bench


def test_a_client_sees_the_photos_of_its_visit_only(bench: Desk, client: TestClient) -> None:
    links, now_s = Links(bench.shop.database), time.time()
    other = bench.shop.new_visit(bench.shop.new_car("van", now_s=now_s), now_s=now_s)
    mine = send(client, photo(seed=21), bench.visit).json()["file"]
    theirs = send(client, photo(seed=22), other).json()["file"]
    token = links.new(bench.visit, by=bench.owner, now_s=now_s)
    stranger = bench.client()
    assert stranger.get(f"/see/{token}/photos/{mine}?size=small").status_code == 200
    assert stranger.get(f"/see/{token}/photos/{theirs}?size=small").status_code == 404
    assert stranger.get(f"/photos/{mine}").status_code == 401
    assert client.get(f"/photos/{theirs}").status_code == 200


def test_a_blob_that_no_visit_holds_is_not_shown(bench: Desk, client: TestClient) -> None:
    digest = bench.shop.put_blob(b"<html>not a photo</html>")
    assert client.get(f"/photos/{digest}").status_code == 404


def test_a_pruned_small_version_is_made_again(bench: Desk, client: TestClient) -> None:
    from sqlalchemy import text

    made = send(client, photo(seed=31), bench.visit).json()["file"]
    with bench.shop.writing() as connection:
        connection.execute(text("DELETE FROM pictures"))
    assert client.get(f"/photos/{made}?size=small").status_code == 200


def limited(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, code: str) -> PhotoError:
    """Run `take_in` with a program of our own in the worker's place; return the refusal."""
    fake = tmp_path / "fake.py"
    fake.write_text(code)
    real = guard.subprocess.run

    def run(command: list[str], **more: Any) -> Any:
        return real([command[0], str(fake), *command[3:]], **more)

    monkeypatch.setattr(guard.subprocess, "run", run)
    file = tmp_path / "a.jpg"
    file.write_bytes(photo())
    with pytest.raises(PhotoError) as error:
        take_in(file)
    return error.value


LIMIT = "from leastcut.shop.guard import _limit; _limit()\n"


@pytest.mark.parametrize(
    "code",
    [
        LIMIT + "held = bytearray(6 << 30)",
        LIMIT + "import sys; open(sys.argv[2] + '/content', 'wb').truncate(1 << 40)",
        "import os; os.kill(os.getpid(), 9)",
        "import os; os.abort()",
        "print('{')",
        'print(\'{"media":"text/html","width":5,"height":5}\')',
        'print(\'{"media":"image/png","width":0,"height":5}\')',
        "import time; time.sleep(60)",
    ],
)
def test_whatever_the_worker_does_the_shop_lives(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, code: str
) -> None:
    monkeypatch.setattr(guard, "WALL_S", 3)
    refused = limited(monkeypatch, tmp_path, code)
    assert "memory or time" in refused.what


def test_a_worker_that_lies_about_the_kind_is_not_believed(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    code = (
        "import sys\n"
        "for name in ('content', 'small', 'screen'):\n"
        "    open(sys.argv[2] + '/' + name, 'wb').write(b'<html>')\n"
        'print(\'{"media":"image/png","width":5,"height":5}\')\n'
    )
    assert "memory or time" in limited(monkeypatch, tmp_path, code).what


def test_the_worker_knows_no_secret(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("LEASTCUT_SHOP", "postgresql://shop:hunter2@db/shop")
    code = "import os, json; print(json.dumps({'what': ' '.join(os.environ.values()), 'do': 'x'}))"
    assert "hunter2" not in limited(monkeypatch, tmp_path, code).what


def test_notes_survive_a_torn_write(tmp_path: Path) -> None:
    chunks = Chunks(tmp_path, most=5)
    name = chunks.begin(1, 10)
    (tmp_path / f"{name}.json").write_bytes(b'{"device":1,"by')
    assert chunks.note(name, 1) is None
    chunks.keep(name, Note(device=1, bytes=10))
    assert chunks.note(name, 1) is not None
    assert chunks.note("../../etc/passwd", 1) is None
