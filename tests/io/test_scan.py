"""Gathering: frames come in shooting order, copies and strays are flagged, and every refusal says what to do."""

from __future__ import annotations

import os
import random
import shutil
import time
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from lapsebench.core.sequence import Fault, Frame
from lapsebench.errors import Cancelled, GatherError
from lapsebench.io import scan
from lapsebench.io.metadata import read_metadata
from lapsebench.io.order import file_order, natural_key
from lapsebench.io.scan import gather

START = datetime(2026, 2, 11, 21, 0, 0)
_COUNT = iter(range(10**9))


def still(
    path: Path,
    taken: datetime | None = None,
    *,
    micro: str = "",
    zone: str = "",
    camera: str = "Mark 3",
    serial: str = "",
    size: tuple[int, int] = (24, 16),
    **options: Any,
) -> Path:
    """A small still unlike any other."""
    exif = Image.Exif()
    detail = exif.get_ifd(0x8769)
    if camera:
        exif[0x0110] = camera
    if taken:
        detail[0x9003] = f"{taken:%Y:%m:%d %H:%M:%S}"
        detail.update({tag: text for tag, text in ((0x9291, micro), (0x9011, zone), (0xA431, serial)) if text})
    codes = np.random.default_rng(next(_COUNT)).integers(0, 256, (size[1], size[0], 3), dtype=np.uint8)
    Image.fromarray(codes).save(path, exif=exif.tobytes(), **options)
    return path


def at(seconds: float) -> datetime:
    return START + timedelta(seconds=seconds)


def names(*paths: Path) -> list[str]:
    return [frame.path.name for frame in gather(paths).frames]


def notes(*paths: Path) -> str:
    return "\n".join(gather(paths).notes)


def faulty(folder: Path, fault: Fault) -> dict[str, str]:
    return {frame.path.name: frame.problem for frame in gather([folder]).frames if fault in frame.faults}


def test_frames_come_in_the_order_of_their_times(tmp_path: Path) -> None:
    for name, second in (("c.jpg", 0), ("a.jpg", 10), ("b.jpg", 20)):
        still(tmp_path / name, at(second))
    assert names(tmp_path) == ["c.jpg", "a.jpg", "b.jpg"]
    assert not gather([tmp_path]).notes


def test_fractions_of_a_second_count_as_decimals(tmp_path: Path) -> None:
    for name, micro in (("1.jpg", "9"), ("2.jpg", "05"), ("3.jpg", "5"), ("4.jpg", "123")):
        still(tmp_path / name, at(0), micro=micro)
    assert names(tmp_path) == ["2.jpg", "4.jpg", "3.jpg", "1.jpg"]


def test_a_burst_within_one_second_goes_by_name_and_is_no_copy(tmp_path: Path) -> None:
    for number in (10, 9, 11, 8):
        still(tmp_path / f"IMG_{number}.jpg", at(number // 10), serial="7")
    gathered = gather([tmp_path])
    assert [frame.path.stem for frame in gathered.frames] == ["IMG_8", "IMG_9", "IMG_10", "IMG_11"]
    assert not any(frame.faults for frame in gathered.frames)


def test_a_counter_that_rolls_over_is_carried_on(tmp_path: Path) -> None:
    expected = [f"IMG_{number:04}.JPG" for number in (9997, 9998, 9999, 1, 2, 3)]
    for name in expected:
        still(tmp_path / name)
    assert names(tmp_path) == expected
    assert "No capture times: frames are in the order of their file names." in notes(tmp_path)


def test_equal_times_are_no_times(tmp_path: Path) -> None:
    for number in (2, 10, 1):
        still(tmp_path / f"F{number}.png", at(0))
    assert names(tmp_path) == ["F1.png", "F2.png", "F10.png"]
    assert "All capture times are the same: frames are in the order of their file names." in notes(tmp_path)


def test_a_frame_without_a_time_stays_beside_its_neighbour(tmp_path: Path) -> None:
    for number in range(1, 8):
        still(tmp_path / f"F{number}.jpg", None if number in (1, 4) else at(10 * number))
    still(tmp_path / "G1.jpg", at(25))
    assert names(tmp_path) == ["F1.jpg", "F2.jpg", "G1.jpg", "F3.jpg", "F4.jpg", "F5.jpg", "F6.jpg", "F7.jpg"]
    assert "2 of 8 frames without a capture time: placed by file name." in notes(tmp_path)


def test_an_unreadable_file_keeps_its_place(tmp_path: Path) -> None:
    for second in range(0, 30, 10):
        still(tmp_path / f"B{second // 10}.jpg", at(second))
        still(tmp_path / f"A{second // 10}.jpg", at(second + 5))
    (tmp_path / "B1.jpg").write_bytes(b"")
    gathered = gather([tmp_path])
    assert [frame.path.stem for frame in gathered.frames] == ["B0", "B1", "A0", "A1", "B2", "A2"]
    assert gathered.frames[1].faults == {Fault.UNREADABLE}
    assert "is empty" in gathered.frames[1].problem
    assert not gathered.notes


def test_zones_and_no_zones_go_together(tmp_path: Path) -> None:
    still(tmp_path / "1.jpg", at(0), zone="+01:00")
    still(tmp_path / "2.jpg", at(10))  # the same camera: the same zone
    still(tmp_path / "3.jpg", at(20), zone="+01:00")
    still(tmp_path / "4.jpg", at(5 - 3600), zone="+00:00", camera="Other")
    still(tmp_path / "5.jpg", at(15), camera="Third")  # names none: the zone most name
    assert [name[0] for name in names(tmp_path)] == ["1", "4", "2", "5", "3"]


def test_clocks_set_back_at_night_do_not_mix_frames_that_name_their_zone(tmp_path: Path) -> None:
    still(tmp_path / "1.jpg", datetime(2026, 10, 25, 2, 50), zone="+02:00")
    still(tmp_path / "2.jpg", datetime(2026, 10, 25, 2, 10), zone="+01:00")
    assert names(tmp_path) == ["1.jpg", "2.jpg"]


def test_folders_and_files_may_be_mixed_and_nothing_comes_twice(tmp_path: Path) -> None:
    for folder in ("110NIGHT", "99NIGHT"):
        (tmp_path / folder).mkdir()
        for number in (1, 2):
            still(tmp_path / folder / f"{folder}_{number}.jpg")
    lone = still(tmp_path / "lone.png")
    paths = (tmp_path / "110NIGHT", lone, tmp_path / "99NIGHT", lone, tmp_path / "99NIGHT" / "99NIGHT_1.jpg")
    assert names(*paths) == ["lone.png", "99NIGHT_1.jpg", "99NIGHT_2.jpg", "110NIGHT_1.jpg", "110NIGHT_2.jpg"]


def test_every_picture_kind_is_taken_and_the_rest_left_aside(tmp_path: Path) -> None:
    for name in ("a.JPG", "b.jpeg", "c.png", "d.TIFF", "e.tif"):
        still(tmp_path / name)
    for name in ("notes.txt", "a.xmp", "clip.mp4", ".DS_Store", "._a.JPG"):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "folder.jpg").mkdir()
    assert names(tmp_path) == ["a.JPG", "b.jpeg", "c.png", "d.TIFF", "e.tif"]
    assert "Left aside: 5 files that are no pictures (" in notes(tmp_path)
    assert "..." in notes(tmp_path)


def test_copies_of_a_file_are_flagged_and_the_first_is_kept(tmp_path: Path) -> None:
    still(tmp_path / "F1.jpg", at(0))
    still(tmp_path / "F2.jpg", at(10))
    shutil.copy(tmp_path / "F1.jpg", tmp_path / "F1 copy.jpg")
    assert faulty(tmp_path, Fault.DUPLICATE) == {"F1 copy.jpg": "the same frame as F1.jpg"}


def test_a_frame_saved_again_is_known_by_its_exact_time(tmp_path: Path) -> None:
    still(tmp_path / "F1.jpg", at(0), micro="37", serial="7")
    still(tmp_path / "F1-edited.jpg", at(0), micro="37", serial="7")
    still(tmp_path / "F2.jpg", at(0), micro="37", serial="8")  # another body of the same make
    still(tmp_path / "F3.jpg", at(0), micro="38", serial="7")
    assert faulty(tmp_path, Fault.DUPLICATE) == {"F1-edited.jpg": "the same frame as F1.jpg"}


def test_a_frame_kept_in_two_formats_counts_once(tmp_path: Path) -> None:
    for number in (1, 2):
        for suffix in (".jpg", ".tif"):
            still(tmp_path / f"F{number}{suffix}", at(number))
    assert faulty(tmp_path, Fault.DUPLICATE) == {f"F{n}.tif": f"the same frame as F{n}.jpg" for n in (1, 2)}


def test_same_size_and_same_ends_are_not_yet_the_same_file(tmp_path: Path) -> None:
    codes = np.zeros((700, 700, 3), np.uint8)
    Image.fromarray(codes).save(tmp_path / "F1.tif")
    codes[480, 300] = 1  # between the places that are sampled
    Image.fromarray(codes).save(tmp_path / "F2.tif")
    assert (tmp_path / "F1.tif").stat().st_size == (tmp_path / "F2.tif").stat().st_size
    assert not faulty(tmp_path, Fault.DUPLICATE)


def test_a_stray_size_is_flagged(tmp_path: Path) -> None:
    for number in range(30):
        still(tmp_path / f"F{number}.jpg", at(number), size=(16, 24) if number == 12 else (24, 16))
    still(tmp_path / "screen.png", camera="", size=(50, 40))
    assert faulty(tmp_path, Fault.ODD_SIZE) == {
        "F12.jpg": "16 x 24 pixels, the others 24 x 16",
        "screen.png": "50 x 40 pixels, the others 24 x 16",
    }


def test_a_run_of_another_size_is_another_shot(tmp_path: Path) -> None:
    for number in range(40):
        still(tmp_path / f"F{number}.jpg", at(number), size=(16, 24) if number >= 31 else (24, 16))
    assert not faulty(tmp_path, Fault.ODD_SIZE)


def test_each_camera_has_its_own_usual_size(tmp_path: Path) -> None:
    for number in range(12):
        still(tmp_path / f"F{number}.jpg", at(number), camera="One", size=(24, 16))
    for number in range(3):
        still(tmp_path / f"G{number}.jpg", at(number), camera="Two", size=(30, 20))
    assert not faulty(tmp_path, Fault.ODD_SIZE)
    assert "Frames of 2 cameras: One (12), Two (3)." in notes(tmp_path)


def test_one_frame_is_gathered_with_a_word_of_doubt(tmp_path: Path) -> None:
    assert gather([still(tmp_path / "F1.jpg", at(0))]).notes == ("Only one frame: there is nothing to even out.",)


def refusal(*paths: Path) -> GatherError:
    with pytest.raises(GatherError) as caught:
        gather(paths)
    assert caught.value.remedy
    return caught.value


def test_refusals_say_what_and_what_to_do(tmp_path: Path) -> None:
    assert "is not there" in refusal(tmp_path / "nowhere").what
    assert "holds no pictures" in refusal(tmp_path).what
    assert "Nothing was chosen" in refusal().what
    text = tmp_path / "notes.txt"
    text.write_text("x")
    assert "notes.txt is no folder and no picture" in refusal(text).what


def test_a_folder_of_folders_names_the_ones_to_open(tmp_path: Path) -> None:
    for folder, count in (("101NIGHT", 2), ("100NIGHT", 1), ("empty", 0)):
        (tmp_path / folder).mkdir()
        for number in range(count):
            still(tmp_path / folder / f"F{number}.jpg")
    assert "100NIGHT (1), 101NIGHT (2)." in refusal(tmp_path).remedy


def test_an_empty_folder_beside_a_full_one_is_a_note(tmp_path: Path) -> None:
    for folder in ("empty", "full"):
        (tmp_path / folder).mkdir()
    still(tmp_path / "full" / "F1.jpg")
    assert "empty holds no pictures." in notes(tmp_path / "empty", tmp_path / "full")


def test_a_folder_one_may_not_look_into_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "shut"
    folder.mkdir()
    folder.chmod(0)
    if os.access(folder, os.R_OK):  # the superuser looks everywhere: let the system refuse in its place

        def refuse(_: object) -> None:
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr(os, "scandir", refuse)
    assert "permission denied" in refusal(folder).what
    folder.chmod(0o700)


def test_progress_is_told_for_every_file(tmp_path: Path) -> None:
    for number in range(12):
        still(tmp_path / f"F{number}.jpg", at(number))
    told: list[tuple[int, int]] = []
    gather([tmp_path], tick=lambda done, total: told.append((done, total)))
    assert told == [(number, 12) for number in range(1, 13)]


def test_cancelling_stops_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for number in range(60):
        still(tmp_path / f"F{number}.jpg", at(number))
    read: list[Path] = []

    def slow(path: Path) -> Frame:
        read.append(path)
        time.sleep(0.02)
        return read_metadata(path)

    def stop(done: int, total: int) -> None:
        if (done, total) == (3, 60):
            raise Cancelled

    monkeypatch.setattr(scan, "read_metadata", slow)
    with pytest.raises(Cancelled):
        gather([tmp_path], tick=stop)
    assert len(read) < 30


def test_numbers_sort_as_numbers_and_case_does_not_matter() -> None:
    shuffled = ["img_10", "IMG_2", "Img_1", "IMG_2b", "img_002"]
    assert sorted(shuffled, key=natural_key) == ["Img_1", "img_002", "IMG_2", "IMG_2b", "img_10"]


@given(st.lists(st.text(max_size=12), max_size=12))
def test_any_names_can_be_sorted(texts: list[str]) -> None:
    assert sorted(file_order(texts)) == sorted(texts)
    assert [natural_key(text) for text in sorted(texts, key=natural_key)] == sorted(map(natural_key, texts))


def shuffled(things: Iterable[str], seed: int) -> list[str]:
    result = list(things)
    random.Random(seed).shuffle(result)
    return result


@given(first=st.integers(0, 9999), count=st.integers(1, 1500), step=st.integers(1, 3), seed=st.integers(0, 99))
def test_a_nights_counter_comes_out_as_shot(first: int, count: int, step: int, seed: int) -> None:
    """From 9999 the counter goes on to 1; frames may have been thinned out."""
    numbers = [(first + i - 1) % 9999 + 1 for i in range(0, count * step, step)]
    shot = [f"IMG_{number:04}.JPG" for number in numbers]
    if shot[0] > shot[-1] and len(set(shot)) == len(shot):
        before, after = [n for n in numbers if n >= numbers[0]], [n for n in numbers if n < numbers[0]]
        assert before[-1] >= 9990
        assert after[0] <= 10
    assert file_order(shuffled(shot, seed)) == shot


@pytest.mark.parametrize(
    "shot",
    [
        [f"IMG_{n:04}.JPG" for n in range(1, 10_000)],  # a whole round: nothing to carry on
        [f"DSC{n:05}.ARW.jpg" for n in (9998, 9999, 1, 2)],  # five digits that count to 9999
        [f"F{n:03}.png" for n in (998, 999, 1, 2)],
        ["F998.png", "F999.png", "F1000.png", "F1001.png"],
        ["F1.png", "F2.png", "F9998.png", "F9999.png"],  # no leading zeros: not a camera's counter
        [f"IMG_{n:04}.JPG" for n in (1, 2, 3, 9000)],
        ["a_20260211_235958.jpg", "a_20260211_235959.jpg", "a_20260212_000000.jpg"],
    ],
    ids=lambda shot: shot[0],
)
def test_counters_of_other_kinds(shot: Sequence[str]) -> None:
    assert file_order(shuffled(shot, 5)) == list(shot)


def test_two_series_roll_over_each_by_itself() -> None:
    shot = [f"A{n:04}.jpg" for n in (9999, 1)] + [f"B{n:04}.jpg" for n in (1, 2)] + [f"C{n:04}.jpg" for n in (9998, 3)]
    assert file_order(sorted(shot)) == shot


def test_thousands_of_files_take_seconds(tmp_path: Path) -> None:
    first = still(tmp_path / "F0000.jpg", at(0))
    for number in range(1, 500):
        shutil.copy(first, tmp_path / f"F{number:04}.jpg")
    started = time.perf_counter()
    assert len(gather([tmp_path]).frames) == 500
    assert time.perf_counter() - started < 10
