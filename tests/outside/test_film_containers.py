"""What the files of every film format say of themselves, byte by byte and as a decoder reads it.

Boxes: ISO/IEC 14496-12; colr, mdcv and clli there and in the QuickTime file format. Code points: ITU-T H.273 tables 2 to 4.
Light level: SEI payload 144 of Rec. ITU-T H.265 D.2.35; what it counts: CTA-861.3.
"""

from __future__ import annotations

import struct
from datetime import UTC, datetime, timedelta, timezone
from fractions import Fraction
from itertools import pairwise, product
from pathlib import Path

import av
import numpy as np
import pytest
from filmreading import boxes, sample_entry
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from lapsebench.core.filmframe import LightLevel
from lapsebench.core.formatfacts import FilmKind
from lapsebench.core.formats import FilmFormat
from lapsebench.core.rates import NAMED_RATES, rate_of
from lapsebench.errors import EncoderError, OutputError
from lapsebench.imaging.planes import film_frame
from lapsebench.io.encode import FilmWriter
from lapsebench.io.encoders import FilmLabels
from lapsebench.io.filmlimits import check_size
from lapsebench.io.filmpath import film_path
from lapsebench.io.lightlevel import stated_level, write_light_level

FILES = [(form, suffix) for form in FilmFormat if form.facts.kind is FilmKind.FILM for suffix in form.facts.suffixes]
BOXED = [(form, suffix) for form, suffix in FILES if suffix != ".mkv"]
COLOURS = {FilmFormat.HLG: (9, 18, 9, 1), FilmFormat.PQ: (9, 16, 9, 1), FilmFormat.FFV1: (1, 13, 0, 2)}
TAGS = {
    FilmFormat.H264: b"avc1",
    FilmFormat.HEVC: b"hvc1",
    FilmFormat.AV1: b"av01",
    FilmFormat.PRORES: b"apch",
    FilmFormat.DNXHR: b"AVdh",
    FilmFormat.HLG: b"hvc1",
    FilmFormat.PQ: b"hvc1",
}
TAKEN = datetime(2026, 2, 11, 21, 4, 10, 480_000, tzinfo=timezone(timedelta(hours=1)))
COUNT, SIZE = 12, (256, 144)


def film_of(
    path: Path, form: FilmFormat, *, fps: Fraction = Fraction(25), count: int = COUNT, taken: datetime | None = TAKEN
) -> FilmWriter:
    """Write a moving picture with light from 0 to four times white, and return the writer."""
    x = np.linspace(0, 1, SIZE[0], dtype=np.float32)
    labels = FilmLabels("Night", taken)
    with FilmWriter(path, size=SIZE, fps=fps, quality=70, form=form, labels=labels, overwrite=True) as film:
        for n in range(count):
            light = np.stack([4 * (x + n / 50) ** 2 / 1.6, x**2, 0.5 * (1 - x)], axis=-1)
            film.write(film_frame(np.broadcast_to(light, (SIZE[1], SIZE[0], 3)), form, n))
        film.finish()
    return film


@pytest.fixture(scope="module")
def films(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[FilmFormat, str], FilmWriter]:
    """A film of every format in every container."""
    folder = tmp_path_factory.mktemp("films")
    return {(form, suffix): film_of(folder / f"{form}{suffix}", form) for form, suffix in FILES}


Films = dict[tuple[FilmFormat, str], FilmWriter]


@pytest.mark.parametrize(("form", "suffix"), BOXED)
def test_codec_tag_colour_box_and_index_first(films: Films, form: FilmFormat, suffix: str) -> None:
    data = films[form, suffix].path.read_bytes()
    kinds = [kind for kind, _ in boxes(data)]
    assert kinds.index(b"moov") < kinds.index(b"mdat")
    tag, told = sample_entry(data)
    assert tag == TAGS[form]
    *points, _ = COLOURS.get(form, (1, 1, 1, 1))
    wanted = struct.pack(">3H", *points)
    assert told[b"colr"] == (b"nclx" + wanted + b"\0" if suffix == ".mp4" else b"nclc" + wanted)


@pytest.mark.parametrize(("form", "suffix"), FILES)
def test_stream_and_frames_carry_the_tags(films: Films, form: FilmFormat, suffix: str) -> None:
    with av.open(films[form, suffix].path) as film:
        stream = film.streams.video[0]
        context = stream.codec_context
        frames = list(film.decode(stream))
    told = COLOURS.get(form, (1, 1, 1, 1))
    assert (context.color_primaries, context.color_trc, context.colorspace, context.color_range) == told
    assert {(f.color_primaries, f.color_trc, f.colorspace, f.color_range) for f in frames} == {told}
    assert context.pix_fmt == form.facts.pixels
    profile = {FilmFormat.HEVC: "Main 10", FilmFormat.PRORES: "HQ", FilmFormat.DNXHR: "DNXHR HQX"}
    assert context.profile == profile.get(form, context.profile)


@pytest.mark.parametrize("form", [FilmFormat.H264, FilmFormat.HEVC, FilmFormat.HLG, FilmFormat.PQ])
def test_a_bare_stream_says_where_its_chroma_lies(films: Films, form: FilmFormat) -> None:
    """Type 2 (top left) for BT.2020; none told is type 0 (left), H.264 E.2.1, H.265 E.3.1: flag, two ue(v)."""
    with av.open(films[form, ".mp4"].path) as film:
        data = film.streams.video[0].codec_context.extradata or b""
    bits = "".join(f"{byte:08b}" for byte in data.replace(b"\0\0\3", b"\0\0"))
    colour = "".join(f"{point:08b}" for point in COLOURS.get(form, (1, 1, 1, 1))[:3])
    after = bits[bits.index(colour) + len(colour) :]
    assert after.startswith("1" + "011" * 2 if form in COLOURS else "0")


@pytest.mark.parametrize(("form", "suffix"), FILES)
def test_every_frame_is_there_at_even_steps(films: Films, form: FilmFormat, suffix: str) -> None:
    with av.open(films[form, suffix].path) as film:
        stream = film.streams.video[0]
        times = [frame.pts or 0 for frame in film.decode(stream)]
        assert len(times) == COUNT
        assert stream.average_rate == 25
        assert stream.time_base is not None
        steps = {(b - a) * stream.time_base for a, b in pairwise(times)}
    assert steps == {Fraction(1, 25)}
    check = films[form, suffix].check
    assert (check.frames, check.size, check.fps) == (COUNT, SIZE, Fraction(25))
    assert check.seconds == pytest.approx(COUNT / 25)


@pytest.mark.parametrize("name", NAMED_RATES)
@pytest.mark.parametrize("form", [FilmFormat.PRORES, FilmFormat.FFV1, FilmFormat.AV1])
def test_usual_rates_are_exact(tmp_path: Path, name: str, form: FilmFormat) -> None:
    fps = rate_of(name)
    assert abs(float(name) - fps) < 0.005
    with av.open(film_of(tmp_path / "film", form, fps=fps, count=3).path) as film:
        stream = film.streams.video[0]
        nanosecond = 2e-9 if form is FilmFormat.FFV1 else 0  # of a frame's length, which is what Matroska stores
        assert abs(1 / Fraction(stream.average_rate or 1) - 1 / fps) <= nanosecond
        code = stream.metadata.get("timecode")
    fields = f"21:04:10:{int(0.48 * round(fps)):02}"
    assert code == (None if form is FilmFormat.FFV1 else fields)


@pytest.mark.parametrize(("form", "suffix"), BOXED)
def test_timecode_title_and_date_are_those_of_the_first_frame(films: Films, form: FilmFormat, suffix: str) -> None:
    path = films[form, suffix].path
    with av.open(path) as film:
        told, stream = film.metadata, film.streams.video[0].metadata
    assert told["title"] == "Night"
    assert told["date"] == "2026-02-11T21:04:10+01:00"
    assert datetime.fromisoformat(told["creation_time"]) == TAKEN.astimezone(UTC).replace(microsecond=0)
    assert stream["timecode"] == "21:04:10:12"
    assert b"tmcd" in path.read_bytes()


def test_a_film_of_unknown_time_has_no_timecode_and_one_of_unknown_zone_no_creation_time(tmp_path: Path) -> None:
    with av.open(film_of(tmp_path / "film.mov", FilmFormat.PRORES, taken=None).path) as film:
        assert "creation_time" not in film.metadata
        assert "timecode" not in film.streams.video[0].metadata
    local = TAKEN.replace(tzinfo=None)
    with av.open(film_of(tmp_path / "film.mov", FilmFormat.PRORES, taken=local).path) as film:
        assert "creation_time" not in film.metadata
        assert film.metadata["date"] == "2026-02-11T21:04:10"


@pytest.mark.parametrize("suffix", [".mp4", ".mov"])
def test_the_light_level_is_the_measured_one_wherever_it_stands(films: Films, suffix: str) -> None:
    writer = films[FilmFormat.PQ, suffix]
    data = writer.path.read_bytes()
    _, told = sample_entry(data)
    level = struct.unpack(">2H", told[b"clli"])
    assert level == writer.check.light_level
    assert 500 < level[0] <= 1000 and 50 < level[1] < level[0]
    message = b"\x4e\x01\x90\x04" + struct.pack(">2H", *level) + b"\x80"
    assert data.count(message) >= 2  # in the headers and in the stream
    assert b"\x12\x34\x56\x78" not in data
    # P3-D65 in steps of 0.00002, 1000 and 0.005 cd/m2 (SMPTE ST 2086), green, blue, red, white
    assert struct.unpack(">8H2I", told[b"mdcv"]) == (
        *(13250, 34500, 7500, 3000, 34000, 16000, 15635, 16450),
        *(10_000_000, 50),
    )
    _, hlg = sample_entry(films[FilmFormat.HLG, suffix].path.read_bytes())
    assert not {b"mdcv", b"clli"} & hlg.keys()


@given(st.floats(0, 10_000), st.floats(0, 10_000))
def test_a_stated_level_needs_no_escape_bytes_and_is_hardly_more_than_the_true_one(most: float, mean: float) -> None:
    """H.265 7.4.2: within a NAL unit, 00 00 must not be followed by 00 to 03."""
    stated = stated_level(LightLevel(most, mean))
    body = b"\x4e\x01\x90\x04" + struct.pack(">2H", *stated) + b"\x80"
    assert not any(body[i : i + 2] == b"\0\0" and body[i + 2] <= 3 for i in range(len(body) - 2))
    assert 0 <= stated[0] - most < 2.001 and 0 <= stated[1] - mean < 2.001


def test_a_film_without_a_place_for_its_light_level_is_refused(films: Films, tmp_path: Path) -> None:
    copy = tmp_path / "film.mp4"
    copy.write_bytes(films[FilmFormat.HLG, ".mp4"].path.read_bytes())
    with pytest.raises(EncoderError, match="light level"):
        write_light_level(copy, LightLevel(500, 100))


@pytest.mark.parametrize("form", [FilmFormat.GIF, FilmFormat.WEBP])
def test_a_loop_runs_for_ever_at_its_rate(tmp_path: Path, form: FilmFormat) -> None:
    writer = film_of(tmp_path / "loop", form, fps=Fraction(25, 2))
    assert writer.path.suffix == f".{form}"
    with Image.open(writer.path) as loop:
        assert loop.size == SIZE
        assert loop.info["loop"] == 0
        assert getattr(loop, "n_frames", 1) == COUNT
        lengths = []
        for n in range(COUNT):
            loop.seek(n)
            loop.load()
            lengths.append(loop.info["duration"])
    assert set(lengths) == {80}
    assert writer.check.frames == COUNT


@pytest.mark.parametrize("form", [FilmFormat.GIF, FilmFormat.WEBP])
@pytest.mark.parametrize("fps", ["12", "12000/1001", "10", "7/3"])
def test_a_slow_dusk_moves_in_a_loop_and_stills_are_allowed(tmp_path: Path, form: FilmFormat, fps: str) -> None:
    """Two codes darker a frame: every frame is its own, to the last; frames all alike come to a still."""
    for name, step in (("dusk", 2), ("still", 0)):
        frames = [np.full((48, 64, 3), 150 - step * n, np.uint8) for n in range(30)]
        writer = FilmWriter(tmp_path / name, size=(64, 48), fps=Fraction(fps), quality=0, form=form)
        with writer:
            for n, frame in enumerate(frames):
                writer.write(film_frame(frame, form, n))
            writer.finish()
        with Image.open(writer.path) as loop:
            found = []
            for n in range(getattr(loop, "n_frames", 1)):
                loop.seek(n)
                found.append(float(np.asarray(loop.convert("L")).mean()))
        assert found[0] == pytest.approx(150, abs=2)
        assert found[-1] == pytest.approx(150 - 29 * step, abs=2)
        assert len(found) > 25 or step == 0


@pytest.mark.parametrize("form", [form for form in FilmFormat if form.facts.kind is not FilmKind.FRAMES])
def test_names_get_the_formats_own_suffix_and_others_are_refused(tmp_path: Path, form: FilmFormat) -> None:
    facts = form.facts
    assert film_path(tmp_path / "night", form=form) == tmp_path / f"night{facts.suffixes[0]}"
    for other in {".mp4", ".mov", ".mkv", ".gif", ".webp", ".tif"} - set(facts.suffixes):
        with pytest.raises(OutputError, match=f"End the name in {' or '.join(facts.suffixes)}"):
            film_path(tmp_path / f"night{other}", form=form)


def test_sizes_that_a_format_can_not_carry_are_told() -> None:
    fps = Fraction(25)
    for form, size in ((FilmFormat.HEVC, (8256, 5504)), (FilmFormat.H264, (8256, 2000)), (FilmFormat.GIF, (642, 400))):
        with pytest.raises(OutputError, match="large"):
            check_size(size, fps, form)
    with pytest.raises(OutputError, match="small"):
        check_size((200, 100), fps, FilmFormat.DNXHR)
    for form, size in product(
        (FilmFormat.HEVC, FilmFormat.AV1, FilmFormat.PRORES, FilmFormat.PQ), ((7680, 4320), (6000, 4000))
    ):
        check_size(size, fps, form)
    check_size((9504, 6336), fps, FilmFormat.TIFF)


@pytest.mark.parametrize(("form", "suffix"), BOXED)
def test_a_film_is_no_smaller_than_the_disk_was_asked_for(films: Films, form: FilmFormat, suffix: str) -> None:
    assert films[form, suffix].path.stat().st_size > form.facts.least_bytes(SIZE, COUNT, 70)
