"""Reads a camera's own time-lapse video as single frames: how many there are, and each of them decoded."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import av
import numpy as np
from av.video.reformatter import ColorRange, Colorspace

from lapsebench.core.sequence import Fault, Frame
from lapsebench.errors import FrameError
from lapsebench.io.icc import SRGB
from lapsebench.io.layout import COPY_AGAIN, MAX_PIXELS, no_access
from lapsebench.io.read import Picture, turned

_KEPT = 12  # decoded frames kept at hand: those that several workers ask for out of order
_OPEN = 2  # clips open at a time
_FAR = 40  # frames ahead up to which decoding on beats a seek
_HD_ROWS = 720  # from which on pictures without a matrix named are BT.709 (common practice, no source)
_ERRORS = (av.FFmpegError, ValueError, EOFError, IndexError, MemoryError)
_ORIENTATION = {0: 1, 90: 8, 180: 3, 270: 6}  # by the degrees that players turn anticlockwise


class _Clip:
    """An open video, read by one worker at a time; frames are numbered as they are shown."""

    def __init__(self, path: Path) -> None:
        self._lock = threading.Lock()
        self._name = path.name
        self._container = av.open(str(path))
        if not self._container.streams.video:
            raise ValueError("no video stream")
        self._stream = self._container.streams.video[0]
        self._stream.thread_type = "AUTO"
        packets = (packet for packet in self._container.demux(self._stream) if packet.size)
        self._times = sorted({packet.pts for packet in packets if packet.pts is not None})
        self._numbers = {pts: number for number, pts in enumerate(self._times)}
        self._frames: Iterator[Any] = iter(())
        self._next = len(self._times)
        self._decoded: OrderedDict[int, Picture] = OrderedDict()
        self.size = self._stream.codec_context.width, self._stream.codec_context.height
        form = self._stream.codec_context.format
        self.deep = form is not None and any(part.bits > 8 for part in form.components)

    @property
    def count(self) -> int:
        """Number of frames."""
        return len(self._times)

    def picture(self, number: int) -> Picture:
        """Return a frame decoded. Raises FrameError."""
        with self._lock:
            try:
                if number not in self._decoded:
                    self._decode_to(number)
                self._decoded.move_to_end(number)
                return self._decoded[number]
            except (*_ERRORS, KeyError) as error:
                raise FrameError(f"Frame {number + 1} of {self._name} can't be decoded.", COPY_AGAIN) from error

    def _decode_to(self, number: int) -> None:
        if not self._next <= number < self._next + _FAR:
            self._container.seek(self._times[number], stream=self._stream)
            self._frames = self._container.decode(self._stream)
        for frame in self._frames:
            at = self._numbers.get(frame.pts, -1)
            self._next = at + 1
            if at > number - _KEPT:
                self._decoded[at] = Picture(self._codes(frame), SRGB)
                while len(self._decoded) > _KEPT:
                    self._decoded.popitem(last=False)
            if at >= number:
                return

    def _codes(self, frame: av.VideoFrame) -> Any:
        """Return full-range R'G'B' codes, upright: those a player shows, taken as sRGB as stills turned film are."""
        matrix = frame.colorspace
        if matrix not in (Colorspace.ITU709, Colorspace.ITU601, Colorspace.SMPTE240M):
            matrix = Colorspace.ITU709 if frame.height >= _HD_ROWS else Colorspace.ITU601
        form = "rgb48le" if self.deep else "rgb24"
        rgb = frame.reformat(format=form, src_colorspace=matrix, dst_color_range=ColorRange.JPEG)
        codes: Any = np.ascontiguousarray(rgb.to_ndarray())
        return turned(codes, _ORIENTATION.get(round(frame.rotation) % 360, 1))

    def rotated(self) -> bool:
        """Whether the frames are shown turned by a quarter."""
        picture = self.picture(0)
        return picture.codes.shape[:2] != self.size[::-1]

    def close(self) -> None:
        """Let go of the file."""
        with self._lock:
            self._container.close()


_clips: OrderedDict[tuple[Path, int], _Clip] = OrderedDict()
_clips_lock = threading.Lock()


def _clip(path: Path) -> _Clip:
    """Return the open clip of a file as it is now. Raises OSError and `_ERRORS`."""
    key = path, path.stat().st_mtime_ns
    with _clips_lock:
        if key not in _clips:
            _clips[key] = _Clip(path)
            while len(_clips) > _OPEN:
                _clips.popitem(last=False)[1].close()
        _clips.move_to_end(key)
        return _clips[key]


def clip_frames(path: Path) -> list[Frame]:
    """Return a frame for each picture of a video, in the order shown; one UNREADABLE frame, with the reason, where none is.

    Their times are unknown: a time-lapse video tells when it plays, not when it was shot.
    """
    try:
        clip = _clip(path)
        width, height = clip.size
        if not clip.count or not 0 < width * height <= MAX_PIXELS:
            raise ValueError("no frames")
        if clip.rotated():
            width, height = height, width
    except OSError as error:
        problem = no_access(path.name, error).what if not isinstance(error, av.FFmpegError) else f"{path.name} is no video."
    except FrameError as error:
        problem = error.what
    except _ERRORS:
        problem = f"{path.name} is damaged or holds no video."
    else:
        depth = 16 if clip.deep else 8
        return [Frame(path, width=width, height=height, bit_depth=depth, part=part) for part in range(clip.count)]
    return [Frame(path, faults=frozenset({Fault.UNREADABLE}), problem=problem, part=0)]


def read_clip(path: Path, part: int) -> Picture:
    """Return frame number `part` of a video, upright. Raises FrameError, with the reason in words."""
    try:
        return _clip(path).picture(part)
    except av.FFmpegError as error:
        raise FrameError(f"{path.name} is damaged or holds no video.", COPY_AGAIN) from error
    except OSError as error:
        raise no_access(path.name, error) from error
    except _ERRORS as error:
        raise FrameError(f"{path.name} is damaged or holds no video.", COPY_AGAIN) from error
