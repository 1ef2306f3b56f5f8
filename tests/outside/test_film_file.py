"""The film file itself, box by box (ISO/IEC 14496-12), and as a decoder reads it (ITU-T H.273 code points)."""

from __future__ import annotations

import struct
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import av
import numpy as np
import pytest
from filmreading import boxes, sample_entry

from lapsebench.core.formats import FilmFormat
from lapsebench.imaging.planes import film_frame
from lapsebench.io.encode import FilmWriter


@pytest.fixture(scope="module", params=["film.mp4", "film.mov"])
def film_file(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A film of 60 frames of a moving edge at 24000/1001 frames a second."""
    with FilmWriter(
        tmp_path_factory.mktemp("film") / request.param, size=(320, 240), fps=Fraction(24000, 1001), quality=70
    ) as film:
        for n in range(60):
            frame = np.zeros((240, 320, 3), np.uint8)
            frame[:, : 5 * n] = (40, 180, 90)
            film.write(film_frame(frame, FilmFormat.H264, n))
        return film.finish()


def test_the_index_comes_before_the_pictures(film_file: Path) -> None:
    kinds = [kind for kind, _ in boxes(film_file.read_bytes())]
    assert kinds[0] == b"ftyp"
    assert kinds.index(b"moov") < kinds.index(b"mdat")


def test_the_container_is_tagged_bt709_limited(film_file: Path) -> None:
    tag, told = sample_entry(film_file.read_bytes())
    assert tag == b"avc1"
    kind, rest = told[b"colr"][:4], told[b"colr"][4:]
    assert struct.unpack_from(">3H", rest) == (1, 1, 1)
    assert (kind, rest[6:]) == ((b"nclx", b"\0") if film_file.suffix == ".mp4" else (b"nclc", b""))


def test_the_stream_is_tagged_bt709_limited(film_file: Path) -> None:
    with av.open(film_file) as film:
        context = film.streams.video[0].codec_context
        assert context.name == "h264"
        assert context.pix_fmt == "yuv420p"
        assert (context.color_primaries, context.color_trc, context.colorspace, context.color_range) == (1, 1, 1, 1)


def test_a_bare_stream_carries_the_tags_too(film_file: Path) -> None:
    """The tags of the stream's own headers: decoded from the packets with no container around them."""
    with av.open(film_file) as film:
        stream = film.streams.video[0]
        decoder = av.CodecContext.create("h264", "r")
        decoder.extradata = stream.codec_context.extradata
        frame = next(frame for packet in film.demux(stream) for frame in decoder.decode(packet))
        assert (frame.color_primaries, frame.color_trc, frame.colorspace, frame.color_range) == (1, 1, 1, 1)


def test_frames_and_rate_are_exact(film_file: Path) -> None:
    with av.open(film_file) as film:
        stream = film.streams.video[0]
        times = [frame.pts for frame in film.decode(stream)]
        assert stream.frames == len(times) == 60
        assert stream.average_rate == Fraction(24000, 1001)
        assert stream.time_base is not None
        steps = {((b or 0) - (a or 0)) * stream.time_base for a, b in pairwise(times)}
        assert steps == {Fraction(1001, 24000)}
        assert times[0] == 0
        assert (stream.duration or 0) * stream.time_base == 60 * Fraction(1001, 24000)


def test_a_player_can_jump_at_least_every_two_seconds(film_file: Path) -> None:
    with av.open(film_file) as film:
        keys = [n for n, frame in enumerate(film.decode(video=0)) if frame.key_frame]
    assert keys[0] == 0
    assert 1 <= keys[1] <= 48
