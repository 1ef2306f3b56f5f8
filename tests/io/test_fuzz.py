"""Damaged files of every kind end in a frame or in a reason, never in a traceback, a dead process or a wait."""

from __future__ import annotations

from pathlib import Path

import pytest
from fuzz_files import LONGEST_S, fuzz, look_at
from made_files import damaged, made_files

SHARED = Path(__file__).resolve().parents[2].parent / "shared" / "data"
_ODD = [path for folder in ("raw/bad", "exif_real") for path in sorted((SHARED / folder).rglob("*")) if path.is_file()]


def test_made_files_are_read_undamaged(tmp_path: Path) -> None:
    unread = {".cr3", ".raf", ".mrw", ".crw"}  # made containers of tags, without a picture
    for name, data in made_files(tmp_path).items():
        path = tmp_path / name
        path.write_bytes(data)
        assert look_at(path) == ("flagged" if path.suffix in unread else "read"), name


def test_damage_is_the_same_for_the_same_seed(tmp_path: Path) -> None:
    data = made_files(tmp_path)["plain.jpg"]
    assert damaged(data, 5) == damaged(data, 5) != damaged(data, 6)


@pytest.mark.parametrize("seed", [11, 12])
def test_damaged_files_end_in_a_frame_or_a_reason(seed: int) -> None:
    outcomes = list(fuzz(100, seed))
    assert len(outcomes) == 100
    assert [outcome.name + ": " + outcome.failure for outcome in outcomes if outcome.failure] == []
    assert max(outcome.seconds for outcome in outcomes[1:]) < LONGEST_S


@pytest.mark.skipif(not _ODD, reason="the real files for checks are not beside the project")
def test_odd_real_files_end_in_a_frame_or_a_reason() -> None:
    for path in _ODD:
        assert look_at(path), path.name
