"""The whole exception tree; each error says what happened and what to do."""

from __future__ import annotations


class LapsebenchError(Exception):
    """Base of every error a user may see: `what` happened, and the `remedy` to try."""

    def __init__(self, what: str, remedy: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.remedy = remedy

    def __str__(self) -> str:
        return f"{self.what} {self.remedy}".strip()


class Cancelled(LapsebenchError):
    """The user stopped the work; nothing was left behind."""

    def __init__(self) -> None:
        super().__init__("Cancelled.")


class GatherError(LapsebenchError):
    """A folder or file list that gives no frames: missing, unreadable or empty."""


class FrameError(LapsebenchError):
    """One still that can't be decoded; the frame is flagged, the rest go on."""


class ProjectFileError(LapsebenchError):
    """A project file that is damaged, of another version, or can't be written."""


class OutputError(LapsebenchError):
    """An output path that can't or must not be written."""


class DiskFullError(OutputError):
    """The disk ran out of room while writing."""


class EncoderError(LapsebenchError):
    """The encoder refused or died; `log` holds its last lines."""

    def __init__(self, what: str, remedy: str = "", log: str = "") -> None:
        super().__init__(what, remedy)
        self.log = log


class SoundError(LapsebenchError):
    """A sound file that is gone, holds no sound, or ends too early."""


class NoScreenError(LapsebenchError):
    """No display, or Qt's system libraries are missing."""
