"""Films as folders of single frames: exact, whole or not there, and gone on with where work was broken off."""

from __future__ import annotations

import errno
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageCms

from lapsebench.core.formats import FilmFormat
from lapsebench.errors import Cancelled, DiskFullError, EncoderError, OutputError
from lapsebench.imaging.planes import film_frame
from lapsebench.io.filmpath import film_path
from lapsebench.io.framefiles import FrameFiles

SIZE = (130, 70)  # rows are no multiple of an EXR block
FORMS = [FilmFormat.TIFF, FilmFormat.EXR]


def light(n: int) -> NDArray[np.float32]:
    """Light with smooth and noisy parts, headroom above white."""
    random = np.random.default_rng(n)
    smooth = np.linspace(0, 3, SIZE[0], dtype=np.float32)[None, :, None] * np.array([1, 0.5, 0.2], np.float32)
    picture = np.repeat(smooth, SIZE[1], axis=0)
    picture[:30] += random.random((30, SIZE[0], 3), dtype=np.float32)
    return picture


def folder_of(path: Path, form: FilmFormat, *, key: str = "a", count: int = 4, overwrite: bool = False) -> FrameFiles:
    return FrameFiles(path, size=SIZE, fps=Fraction(25), count=count, key=key, form=form, overwrite=overwrite)


def write(path: Path, form: FilmFormat, **how: Any) -> list[int]:
    """Write all frames that are wanted, and return which those were."""
    with folder_of(path, form, **how) as folder:
        wanted = [n for n in range(how.get("count", 4)) if folder.wants(n)]
        for n in wanted:
            folder.write(film_frame(light(n), form, n), n)
        assert folder.finish() == path
    return wanted


def test_tiffs_are_read_back_code_by_code_by_three_libraries(tmp_path: Path) -> None:
    write(tmp_path / "night", FilmFormat.TIFF)
    names = sorted(entry.name for entry in (tmp_path / "night").iterdir())
    assert names == ["lapsebench-frames.json", *(f"night_0000{n}.tif" for n in range(1, 5))]
    for n in range(4):
        file = tmp_path / "night" / f"night_0000{n + 1}.tif"
        sent = film_frame(light(n), FilmFormat.TIFF, n).planes[0]
        read = cv2.imread(str(file), cv2.IMREAD_UNCHANGED)
        assert read is not None
        assert np.array_equal(read[..., ::-1], sent)
        with av.open(file) as picture:
            frame = next(picture.decode(video=0))
            assert frame.format.name == "rgb48le"
            assert np.array_equal(frame.to_ndarray(), sent)
    with Image.open(tmp_path / "night" / "night_00001.tif") as opened:
        profile = opened.tag_v2[34675]  # type: ignore[attr-defined]
    assert "sRGB" in ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(__import__("io").BytesIO(profile)))


def test_exr_frames_are_the_light_itself_with_its_headroom(tmp_path: Path) -> None:
    """Decoded by libav: half floats of linear light, BT.709 primaries, nothing clipped at white."""
    write(tmp_path / "night", FilmFormat.EXR)
    for n in range(4):
        with av.open(tmp_path / "night" / f"night_0000{n + 1}.exr") as picture:
            frame = next(picture.decode(video=0))
        kind = "<f2" if "16" in frame.format.name else "<f4"
        green, blue, red = (
            np.frombuffer(memoryview(plane), kind).reshape(plane.height, -1)[:, : SIZE[0]] for plane in frame.planes[:3]
        )
        found = np.stack([red, green, blue], axis=-1)
        assert np.array_equal(found.astype(np.float16), light(n).astype(np.float16))
        assert found.max() > 2.9


@pytest.mark.parametrize("form", FORMS)
def test_work_that_was_broken_off_goes_on(tmp_path: Path, form: FilmFormat) -> None:
    path = tmp_path / "night"
    with pytest.raises(Cancelled), folder_of(path, form) as folder:
        for n in range(2):
            folder.write(film_frame(light(n), form, n), n)
        raise Cancelled
    (path / ".frame.part-1").write_bytes(b"half a frame")
    before = {entry.name: entry.stat().st_mtime_ns for entry in path.iterdir() if entry.suffix == form.facts.frame_suffix}
    assert len(before) == 2
    assert write(path, form) == [2, 3]
    assert {name: (path / name).stat().st_mtime_ns for name in before} == before
    assert len(list(path.iterdir())) == 5
    assert write(path, form) == []


@pytest.mark.parametrize("form", FORMS)
def test_frames_of_another_film_are_replaced_only_when_allowed(tmp_path: Path, form: FilmFormat) -> None:
    write(tmp_path / "night", form)
    with pytest.raises(OutputError, match="another film"):
        write(tmp_path / "night", form, key="b", count=2)
    assert write(tmp_path / "night", form, key="b", count=2, overwrite=True) == [0, 1]
    assert len(list((tmp_path / "night").iterdir())) == 3


def test_leaving_before_a_frame_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(Cancelled), folder_of(tmp_path / "night", FilmFormat.TIFF):
        raise Cancelled
    assert list(tmp_path.iterdir()) == []


def test_missing_and_damaged_frames_are_found(tmp_path: Path) -> None:
    with pytest.raises(EncoderError, match="1 of 4"), folder_of(tmp_path / "night", FilmFormat.TIFF) as folder:
        folder.write(film_frame(light(0), FilmFormat.TIFF, 0), 0)
        folder.finish()
    with (
        pytest.raises(EncoderError, match="not what was sent"),
        folder_of(tmp_path / "one", FilmFormat.TIFF, count=1) as folder,
    ):
        folder.write(film_frame(light(0), FilmFormat.TIFF, 0), 0)
        file = tmp_path / "one" / "one_00001.tif"
        data = bytearray(file.read_bytes())
        data[len(data) // 2] ^= 255
        file.write_bytes(data)
        folder.finish()


def test_a_full_disk_keeps_the_frames_so_far(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    with pytest.raises(DiskFullError, match="kept"), folder_of(tmp_path / "night", FilmFormat.EXR) as folder:
        folder.write(film_frame(light(0), FilmFormat.EXR, 0), 0)
        monkeypatch.setattr(Path, "write_bytes", full)
        folder.write(film_frame(light(1), FilmFormat.EXR, 1), 1)
    assert (tmp_path / "night" / "night_00001.exr").is_file()


def test_a_frame_of_another_size_is_a_mistake_of_ours(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="in a film of"), folder_of(tmp_path / "night", FilmFormat.TIFF) as folder:
        folder.write(film_frame(light(0)[:, :128], FilmFormat.TIFF, 0), 0)


@pytest.mark.parametrize("form", FORMS)
def test_only_a_folder_of_its_own_will_do(tmp_path: Path, form: FilmFormat) -> None:
    assert film_path(tmp_path / "night", form=form) == tmp_path / "night"
    with pytest.raises(OutputError, match="names a file"):
        film_path(tmp_path / "night.tif", form=form)
    with pytest.raises(OutputError, match="does not exist"):
        film_path(tmp_path / "nowhere" / "night", form=form)
    (tmp_path / "file").touch()
    with pytest.raises(OutputError, match="is a file"):
        film_path(tmp_path / "file", form=form)
    with pytest.raises(OutputError, match="holds other files"):
        film_path(tmp_path, form=form, overwrite=True)
    stills = tmp_path / "night"
    stills.mkdir()
    source = stills / f"night_00001{form.facts.frame_suffix}"
    source.touch()
    with pytest.raises(OutputError, match="source frames"):
        film_path(stills, form=form, overwrite=True, sources=[source])
