"""What all tests share: a cache of their own, and PySide6 out of reach where the run asks for it."""

from __future__ import annotations

import os
import sys
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec
from pathlib import Path

import pytest

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
