"""What all tests share: a cache of their own, and PySide6 out of reach where the run asks for it."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from functools import partial
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from lapsebench.services.survey import Survey, gather, survey

SHARED = Path(__file__).resolve().parents[1].parent / "shared" / "data"


class _NoQt(MetaPathFinder):
    """Makes every import of PySide6 fail, as on a machine without it."""

    def find_spec(self, fullname: str, path: object = None, target: object = None) -> ModuleSpec | None:  # noqa: ARG002
        if fullname.partition(".")[0] == "PySide6":
            raise ImportError("PySide6 is hidden for this run")
        return None


if os.environ.get("LAPSEBENCH_HIDE_QT"):
    sys.meta_path.insert(0, _NoQt())


@pytest.fixture(autouse=True)
def own_cache(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep measures of the tests out of the user's cache."""
    monkeypatch.setenv("LAPSEBENCH_CACHE", str(tmp_path_factory.mktemp("cache")))


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Return the folder of real files for checks; skips where it is absent."""
    if not SHARED.is_dir():
        pytest.skip("the real files for checks are not beside the project")
    return SHARED


@pytest.fixture(scope="session")
def demo() -> Path:
    """Return the folder of the demo night."""
    return Path(__file__).resolve().parents[1] / "sample_frames"


@pytest.fixture(scope="session")
def demo_survey(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Survey:
    """Return the survey of the demo night, made once a run."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("LAPSEBENCH_CACHE", str(tmp_path_factory.mktemp("demo_cache")))
        project, _ = gather([demo])
        return survey(project)


@pytest.fixture
def make_frames(tmp_path: Path) -> Callable[..., Path]:
    """Return a maker of small folders of frames, all different, with EXIF; see `_make_frames`."""
    return partial(_make_frames, tmp_path)


def _make_frames(
    root: Path, count: int = 8, *, size: tuple[int, int] = (96, 64), name: str = "night", camera: str = "Velmar N2"
) -> Path:
    """Write `count` JPEGs of a textured scene, 10 s apart at f/2.8, 8 s, ISO 1600, and return their folder."""
    folder = root / name
    folder.mkdir()
    random = np.random.default_rng(len(camera) + sum(map(ord, camera)))
    scene = random.uniform(40, 200, (size[1] // 8, size[0] // 8, 3))
    for i in range(count):
        picture = Image.fromarray(np.clip(scene + random.normal(0, 1, scene.shape), 0, 255).astype(np.uint8))
        exif = Image.Exif()
        exif[0x0110] = camera
        tags = exif.get_ifd(0x8769)
        tags[0x829A], tags[0x829D], tags[0x8827] = 8.0, 2.8, 1600
        tags[0x9003] = f"2026:02:11 21:{4 + i // 6:02}:{i % 6 * 10:02}"
        picture.resize(size, Image.Resampling.BICUBIC).save(folder / f"N{i:04}.jpg", quality=95, exif=exif)
    return folder
