"""Where the files that come with the program are, installed or in a checkout."""

from __future__ import annotations

from pathlib import Path

from lapsebench.errors import GatherError

_PACKAGE = Path(__file__).resolve().parents[1]


def demo_folder() -> Path:
    """Return the folder of the demo night. Raises `GatherError` where it was not installed."""
    for place in (_PACKAGE / "sample_frames", _PACKAGE.parent / "sample_frames"):
        if place.is_dir():
            return place
    raise GatherError("The demo night is not installed.", "Install the program again, or open a folder of your own.")
