"""Files as they come from phones and worse: read with time stamps, or refused with the reason."""

import gc
import struct
from pathlib import Path

import avi
import cv2
import numpy as np
import pytest

from leastcut.shop import video
from leastcut.shop.video import VideoError


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


def test_a_changing_size_comes_out_even(tmp_path: Path) -> None:
    jpegs = [avi.jpeg((320, 240))] * 4 + [avi.jpeg((400, 300))] * 4
    got = list(video.frames(_file(tmp_path, avi.pictures(jpegs, (320, 240)))))
    assert [frame.shape for _, frame in got] == [(240, 320, 3)] * 8
    assert np.abs(got[0][1].astype(float) - got[-1][1]).mean() < 4


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
