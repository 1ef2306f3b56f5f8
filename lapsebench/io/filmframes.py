"""Reads any video as small pictures of linear light with the times they are shown at, for the analysis of a film."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import av
import cv2
import numpy as np
from av.stream import Disposition
from av.video.reformatter import ColorRange, Colorspace
from numpy.typing import NDArray

from lapsebench.core.flash import analysis_size
from lapsebench.core.formatfacts import HLG_TRANSFER, PQ_TRANSFER
from lapsebench.errors import FrameError
from lapsebench.io.filmlight import film_light, to_bt709_primaries
from lapsebench.io.layout import MAX_PIXELS, no_access

_HD_ROWS = 720  # from which on pictures without a matrix named are BT.709 (common practice, no source)
_MATRICES = (Colorspace.ITU709, Colorspace.ITU601, Colorspace.SMPTE240M, Colorspace.BT2020)
_USUAL_FPS = 25.0  # where a file names none
_ERRORS = (av.FFmpegError, ValueError, EOFError, IndexError, MemoryError)
_NO_FILM = "Choose a finished film, such as an MP4 or MOV file."


class FilmFrames:
    """A video opened for analysis; iterate once, within its context. Rotation is ignored.

    `size` is (width, height) of the pictures, `fps` the mean rate, `expected` about how many frames there are, 0 if unknown;
    `hdr` says that light may exceed 1. After reading, `problem` says what could not be read, else it is empty.
    """

    def __init__(self, path: Path) -> None:
        """Open the file. Raises FrameError where it is no video, or may not be read."""
        self._name = path.name
        self.problem = ""
        try:
            with path.open("rb"):  # so that a file that may not be read is told from one that is no video
                self._container = av.open(str(path))
        except av.FFmpegError as error:
            raise FrameError(f"{path.name} is damaged or holds no video.", _NO_FILM) from error
        except OSError as error:
            raise no_access(path.name, error) from error
        except ValueError as error:
            raise FrameError(f"{path.name} is damaged or holds no video.", _NO_FILM) from error
        try:
            self._stream = self._video()
        except FrameError:
            self._container.close()
            raise
        context = self._stream.codec_context
        self.size = analysis_size((context.width, context.height))
        self.fps = float(self._stream.average_rate or self._stream.guessed_rate or _USUAL_FPS)
        self._count = int(self._stream.frames)
        self.expected = self._count or round((self._container.duration or 0) / av.time_base * self.fps)
        self._transfer, self._primaries = int(context.color_trc), int(context.color_primaries)
        self.hdr = self._transfer in (PQ_TRANSFER, HLG_TRANSFER)

    def _video(self) -> Any:
        """Return the video stream to watch. Raises FrameError."""
        streams = [s for s in self._container.streams.video if not s.disposition & Disposition.attached_pic]
        kind = self._container.format.name
        if not streams:
            raise FrameError(f"{self._name} holds no video.", _NO_FILM)
        if kind in ("tty", "image2") or kind.endswith("_pipe"):  # text is shown as a picture, stills as films of one frame
            raise FrameError(f"{self._name} is no video.", _NO_FILM)
        context = streams[0].codec_context  # None where the codec is not known
        width, height = (context.width, context.height) if context else (0, 0)
        if not 0 < width * height <= MAX_PIXELS:
            raise FrameError(f"{self._name} is damaged or holds no video.", _NO_FILM)
        streams[0].thread_type = "AUTO"
        return streams[0]

    def __iter__(self) -> Iterator[tuple[float, NDArray[np.float32]]]:
        """Give each frame that can be decoded: seconds since the first, and linear BT.709 RGB (h, w, 3), area means.

        Raises FrameError where there is none.
        """
        start, last, read = None, 0.0, 0
        for frame in self._decoded():
            seconds = None if frame.time is None else float(frame.time)
            if start is None and seconds is not None:
                start = seconds - last
            at = last + 1 / self.fps * (read > 0) if seconds is None or start is None else max(seconds - start, last)
            last, read = at, read + 1
            yield at, self._picture(frame)
        if not read:
            raise FrameError(f"No frame of {self._name} can be decoded.", _NO_FILM)
        whole = self._count or (self.expected - 2 if len(self._container.streams) == 1 else 0)  # sound may last longer
        if read < whole:
            self.problem = (
                f"Only {read} of {self.expected} frames of {self._name} could be read: it is damaged or not whole."
            )

    def _decoded(self) -> Iterator[Any]:
        """Give the frames in the order shown, stepping over what is damaged."""
        damaged = f"Parts of {self._name} are damaged and were left out."
        try:
            for packet in self._container.demux(self._stream):
                try:
                    frames = packet.decode()
                except _ERRORS:
                    self.problem = damaged
                    continue
                yield from frames
        except av.FFmpegError:  # the file can't be read on
            self.problem = damaged

    def _picture(self, frame: Any) -> NDArray[np.float32]:
        """Return the area means of a frame's light, which is made linear before it is averaged."""
        matrix = frame.colorspace
        if matrix not in _MATRICES:
            matrix = Colorspace.ITU709 if frame.height >= _HD_ROWS else Colorspace.ITU601
        deep = any(part.bits > 8 for part in frame.format.components)
        form = "rgb48le" if deep else "rgb24"
        codes = frame.reformat(format=form, src_colorspace=matrix, dst_color_range=ColorRange.JPEG).to_ndarray()
        light = film_light(np.ascontiguousarray(codes), self._transfer)
        if (frame.width, frame.height) != self.size:
            light = np.asarray(cv2.resize(light, self.size, interpolation=cv2.INTER_AREA), np.float32)
        return to_bt709_primaries(light.reshape(self.size[1], self.size[0], 3), self._primaries)

    def __enter__(self) -> Self:
        """Return the video itself."""
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        """Let go of the file."""
        self._container.close()
