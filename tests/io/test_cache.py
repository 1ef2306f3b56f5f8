"""The store of measures: a night opened again is there at once, and a bad disk is never worth an error."""

from __future__ import annotations

import logging
import os
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from lapsebench.core.metering import FrameMeasure
from lapsebench.io import cache
from lapsebench.io.cache import MeasureStore, default_folder


def measure(seed: int = 1) -> FrameMeasure:
    rng = np.random.default_rng(seed)
    tiles = rng.random((43, 64, 3), dtype=np.float32)
    clipped = rng.random((43, 64, 3), dtype=np.float32)
    column = rng.integers(0, 256, (400, 3), dtype=np.uint8)
    return FrameMeasure(tiles, clipped, column, rng.bytes(9000))


def same(one: FrameMeasure | None, other: FrameMeasure) -> bool:
    if one is None:
        return False
    arrays = ("tiles", "clipped", "column")
    equal = all(np.array_equal(getattr(one, name), getattr(other, name)) for name in arrays)
    return equal and one.proxy == other.proxy and type(one.proxy) is bytes


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    path = tmp_path / "natt æ" / "F1.jpg"
    path.parent.mkdir()
    path.write_bytes(b"the still itself")
    return path


@pytest.fixture
def store(tmp_path: Path) -> MeasureStore:
    return MeasureStore(tmp_path / "measures")


def entries(store: MeasureStore) -> list[Path]:
    return sorted(path for path in store.folder.rglob("*") if path.is_file())


def test_a_measure_comes_back_as_it_was(store: MeasureStore, photo: Path) -> None:
    assert store.get(photo) is None
    store.put(photo, measure())
    assert same(store.get(photo), measure())
    assert same(MeasureStore(store.folder).get(photo), measure())
    assert [path.suffix for path in entries(store)] == [".npz"]


def test_a_changed_still_is_measured_again(store: MeasureStore, photo: Path) -> None:
    store.put(photo, measure())
    stat = photo.stat()
    os.utime(photo, ns=(stat.st_atime_ns, stat.st_mtime_ns + 1000))
    assert store.get(photo) is None
    os.utime(photo, ns=(stat.st_atime_ns, stat.st_mtime_ns))
    assert store.get(photo) is not None
    photo.write_bytes(b"another still")
    assert store.get(photo) is None


def test_a_still_by_the_same_name_elsewhere_is_another(store: MeasureStore, photo: Path, tmp_path: Path) -> None:
    store.put(photo, measure())
    other = tmp_path / "F1.jpg"
    other.write_bytes(photo.read_bytes())
    assert store.get(other) is None


def test_another_format_version_is_not_read(store: MeasureStore, photo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store.put(photo, measure())
    monkeypatch.setattr(cache, "FORMAT_VERSION", cache.FORMAT_VERSION + 1)
    assert store.get(photo) is None


@pytest.mark.parametrize("damage", ["cut", "noise", "empty", "other arrays", "one array", "pickle"])
def test_a_damaged_entry_is_replaced(store: MeasureStore, photo: Path, damage: str) -> None:
    store.put(photo, measure())
    (entry,) = entries(store)
    data = entry.read_bytes()
    if damage == "other arrays":
        np.savez(entry, tiles=np.zeros(3), clipped=0, column=0, proxy=0)
    elif damage in ("one array", "pickle"):
        array = np.zeros(3) if damage == "one array" else np.array([{"a": 1}], dtype=object)
        np.save(entry.with_suffix(".npy"), array, allow_pickle=True)
        entry.with_suffix(".npy").replace(entry)
    else:
        entry.write_bytes({"cut": data[:-500], "noise": data[:3000] + b"?" * 9000 + data[12_000:], "empty": b""}[damage])
    assert store.get(photo) is None
    assert not entries(store)
    store.put(photo, measure(2))
    assert same(store.get(photo), measure(2))


def test_a_still_that_is_gone_leaves_nothing(store: MeasureStore, photo: Path) -> None:
    photo.unlink()
    store.put(photo, measure())
    assert store.get(photo) is None
    assert not entries(store)


def test_pruning_keeps_what_was_used_last(tmp_path: Path) -> None:
    photos = [tmp_path / f"F{i}.jpg" for i in range(6)]
    store = MeasureStore(tmp_path / "measures")
    for i, path in enumerate(photos):
        path.write_bytes(b"still")
        store.put(path, measure(i))
        (entry,) = (one for one in entries(store) if one.stat().st_mtime > 1_000_000)
        os.utime(entry, (i, i))
    assert store.get(photos[0]) is not None  # used just now, though it is the oldest
    size = entries(store)[0].stat().st_size
    MeasureStore(store.folder, limit=3 * size + 100).prune()
    assert [store.get(path) is not None for path in photos] == [True, False, False, False, True, True]


def test_pruning_clears_what_a_crash_left_but_not_what_is_being_written(store: MeasureStore, photo: Path) -> None:
    store.put(photo, measure())
    left, fresh = (entries(store)[0].with_name(name) for name in (".new-left", ".new-fresh"))
    for path in (left, fresh):
        path.write_bytes(b"half")
    os.utime(left, (1, 1))
    store.prune()
    assert not left.exists()
    assert fresh.exists()
    assert store.get(photo) is not None


def test_pruning_nothing_is_fine(store: MeasureStore) -> None:
    store.prune()


def test_a_full_disk_turns_the_store_off_with_one_line_in_the_log(
    store: MeasureStore, photo: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(np, "savez", full)
    for _ in range(3):
        store.put(photo, measure())
    assert [record.levelno for record in caplog.records] == [logging.WARNING]
    assert "No space left" in caplog.text
    assert not entries(store)
    assert store.get(photo) is None


def test_a_folder_that_can_not_be_made_turns_the_store_off(
    tmp_path: Path, photo: Path, caplog: pytest.LogCaptureFixture
) -> None:
    (tmp_path / "file").write_text("in the way")
    store = MeasureStore(tmp_path / "file" / "measures")
    store.put(photo, measure())
    store.put(photo, measure())
    store.prune()
    assert store.get(photo) is None
    assert len(caplog.records) == 1


def test_several_threads_may_write_the_same_still(store: MeasureStore, photo: Path) -> None:
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda _: store.put(photo, measure()), range(40)))
        found = list(pool.map(lambda _: store.get(photo), range(40)))
    assert all(same(one, measure()) for one in found)
    assert len(entries(store)) == 1


def test_the_folder_follows_the_environment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LAPSEBENCH_CACHE", str(tmp_path))
    assert default_folder() == tmp_path / "measures"
    monkeypatch.delenv("LAPSEBENCH_CACHE")
    assert default_folder().name == "measures"
    assert "lapsebench" in default_folder().parts
