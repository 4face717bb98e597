"""Blobs: whole under their name or not there, in a folder and in a store by URL."""

import os
from hashlib import sha256
from io import BytesIO
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from leastcut.shop import blobs as module
from leastcut.shop.blobs import Blobs, FolderBlobs, RemoteBlobs, open_blobs
from leastcut.shop.trouble import NoRowError, NoShopError


@pytest.fixture(params=["folder", "memory", "chained"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Blobs:
    if request.param == "folder":
        return open_blobs(tmp_path / "blobs")
    if request.param == "memory":
        return open_blobs(f"memory://{tmp_path.name}")
    return open_blobs(f"dir::file://{tmp_path}/blobs")


def test_content_comes_back_by_its_digest(store: Blobs) -> None:
    content = os.urandom(3_000_000)
    digest = store.put(BytesIO(content))
    assert digest == sha256(content).hexdigest()
    assert store.get(digest) == content
    with store.open(digest) as file:
        assert file.read(10) == content[:10]
    assert store.has(digest)
    assert [found[:2] for found in store.all()] == [(digest, len(content))]
    store.drop(digest)
    store.drop(digest)
    assert not store.has(digest)
    with pytest.raises(NoRowError):
        store.get(digest)


@pytest.mark.parametrize("name", ["", "../" * 22, "A" * 64, "0" * 63, "0" * 65, "/" + "0" * 63])
def test_only_a_digest_is_a_name(store: Blobs, name: str) -> None:
    for ask in (store.get, store.path, store.has, store.drop):
        with pytest.raises(NoRowError):
            ask(name)


@given(content=st.binary(max_size=2_000))
def test_any_content_is_kept(content: bytes, tmp_path_factory: pytest.TempPathFactory) -> None:
    store = open_blobs(tmp_path_factory.getbasetemp() / "any")
    assert store.get(store.put(content)) == content


def test_the_content_is_on_the_disk_before_it_has_its_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[str] = []
    fsync, replace = os.fsync, Path.replace

    def note_fsync(handle: int) -> None:
        told.append("folder" if os.path.isdir(f"/dev/fd/{handle}") else "file")  # noqa: PTH112
        fsync(handle)

    def note_replace(self: Path, target: Path) -> Path:
        told.append("name")
        return replace(self, target)

    monkeypatch.setattr(module.os, "fsync", note_fsync)
    monkeypatch.setattr(Path, "replace", note_replace)
    FolderBlobs(tmp_path).put(b"photo")
    assert told == ["file", "folder", "name", "folder"]


def test_an_interrupted_write_leaves_no_name(tmp_path: Path) -> None:
    class Cut(BytesIO):
        def read(self, size: int | None = -1) -> bytes:
            if self.tell():
                raise ConnectionResetError
            return super().read(100 if size else 0)

    store = FolderBlobs(tmp_path)
    with pytest.raises(Exception, match="cannot use it"):
        store.put(Cut(b"x" * 1_000))
    assert list(store.all()) == []
    assert list(tmp_path.glob("incoming/*")) == []


def test_remains_of_a_killed_writer_are_swept_when_old(tmp_path: Path) -> None:
    store = FolderBlobs(tmp_path)
    digest = store.put(b"kept")
    remains = tmp_path / "incoming" / "abc"
    remains.write_bytes(b"half")
    assert store.sweep(remains.stat().st_mtime - 1) == 0
    assert store.sweep(remains.stat().st_mtime + 1) == 1
    assert store.get(digest) == b"kept"


def test_a_damaged_blob_is_put_right_by_the_same_content(tmp_path: Path) -> None:
    store = FolderBlobs(tmp_path)
    digest = store.put(b"photo")
    path = store.path(digest)
    assert path is not None
    path.write_bytes(b"rot!!")
    assert store.put(b"photo") == digest
    assert store.get(digest) == b"photo"


def test_an_unknown_kind_of_store_is_told_without_its_key() -> None:
    with pytest.raises(NoShopError, match="cannot be used") as told:
        RemoteBlobs("nosuch://bucket/photos?secret=hunter2")
    assert "hunter2" not in str(told.value)
