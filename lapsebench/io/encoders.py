"""What the encoder program is told for each format: sample layout, codec, tags, container.

Samples come as the format has them, so that the program converts nothing; `setparams` gives them the tags, for the program
takes primaries and transfer from the frames. Rate factors go by quality; those that edit or keep have a fixed quality.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path

from lapsebench.core.formatfacts import FilmKind, FormatFacts
from lapsebench.core.formats import FilmFormat
from lapsebench.core.rates import timecode

PLACEHOLDER = (0x1234, 0x5678)
"""Content light level that an HDR film is begun with; see `io.lightlevel`."""
# The display a PQ film was made for: P3-D65 primaries, 1000 and 0.005 cd/m2, as is usual (common practice, no source).
_MASTERING = "G(13250,34500)B(7500,3000)R(34000,16000)WP(15635,16450)L(10000000,50)"
_H264 = ["-c:v", "libx264", "-preset", "medium", "-profile:v", "high"]
_H264 += ["-aq-mode", "3", "-aq-strength", "1.3", "-psy-rd", "1.0:0.4"]
"""Bits go to the dark, so that the dither that keeps a night sky from banding stays in."""
_MATRICES = {0: "gbr", 1: "bt709", 9: "bt2020nc"}
_PRIMARIES = {1: "bt709", 9: "bt2020"}
_TRANSFERS = {1: "bt709", 13: "iec61966-2-1", 16: "smpte2084", 18: "arib-std-b67"}


@dataclass(frozen=True, slots=True)
class FilmLabels:
    """What a film says of itself: its `title`, and when its first frame was `taken`, which also sets its timecode."""

    title: str = ""
    taken: datetime | None = None


def crf_of(quality: int) -> float:
    """Return x264's constant rate factor for a quality 0..100: straight from 32 over 24 at 40 and 18 at 70 to 12."""
    return 32.0 - 0.2 * min(max(quality, 0), 100)


def encoder_arguments(
    form: FilmFormat,
    *,
    size: tuple[int, int],
    fps: Fraction,
    quality: int,
    labels: FilmLabels,
    encoder: str | None = None,
    sound: Path | None = None,
) -> list[str]:
    """Return all that the program is told but where to write: raw frames on its input, the film as its output.

    `encoder`: one of `io.hardware` in the place of the usual one. `sound`: a file of just the film's length to lay under it.
    """
    facts = form.facts
    rate = f"{fps.numerator}/{fps.denominator}"
    source = ["-f", "rawvideo", "-pix_fmt", facts.pixels, "-video_size", "{}x{}".format(*size), "-framerate", rate]
    if form is FilmFormat.PQ:
        source += ["-mastering_display", _MASTERING, "-content_light", "{},{}".format(*PLACEHOLDER)]
    codec = _codec(form, quality) if encoder is None else hardware_codec(encoder, quality)
    keys = ["-g", str(max(1, round(2 * fps)))] if facts.quality_counts else []
    first, moved = upload(encoder or "", deep=facts.deep)
    heard = [] if sound is None else ["-i", str(sound), "-map", "0:v:0", "-map", "1:a:0", *_sound_codec(facts)]
    told = [*heard, *_tagged(form, facts, moved), *codec, *keys, *_container(facts, fps, labels)]
    return [*first, *source, "-i", "pipe:0", *told]


def hardware_codec(encoder: str, quality: int) -> list[str]:
    """Return the arguments of a hardware encoder: its own constant-quality switch at about x264's rate factor."""
    factor, kind = str(round(crf_of(quality))), encoder.rpartition("_")[2]
    switches = {
        "nvenc": ["-cq", factor],
        "qsv": ["-global_quality", factor],
        "videotoolbox": ["-q:v", str(max(1, quality))],
        "vaapi": ["-qp", factor],
        "amf": ["-rc", "cqp", "-qp_i", factor, "-qp_p", factor],
    }
    return ["-c:v", encoder, *switches.get(kind, ["-crf", factor])]


def upload(encoder: str, *, deep: bool) -> tuple[list[str], str]:
    """Return what comes first for a hardware encoder, and the filters that bring frames to it."""
    if not encoder.endswith("_vaapi"):
        return [], ""
    return ["-vaapi_device", "/dev/dri/renderD128"], f",format={'p010' if deep else 'nv12'},hwupload"


def _codec(form: FilmFormat, quality: int) -> list[str]:
    crf, av1 = f"{crf_of(quality):g}", round(56 - 0.44 * min(max(quality, 0), 100))
    hevc = ["-c:v", "libx265", "-preset", "medium", "-profile:v", "main10", "-crf"]
    # Below 98 libwebp takes pixels that differ by some codes from the frame before for the same: a slow dusk stands still.
    webp = 98 + min(max(quality, 0), 100) // 50
    finer = f"{crf_of(quality) - 2:g}"  # a code of HDR is worth more light
    return {
        FilmFormat.H264: [*_H264, "-crf", f"{crf_of(quality) + 1:g}"],
        FilmFormat.HEVC: [*hevc, crf, "-x265-params", "log-level=error"],
        FilmFormat.HLG: [*hevc, finer, "-x265-params", "log-level=error"],
        FilmFormat.PQ: [*hevc, finer, "-x265-params", "log-level=error:hdr10=1:hdr10-opt=1"],
        FilmFormat.AV1: ["-c:v", "libsvtav1", "-preset", "6", "-crf", str(av1)],
        FilmFormat.PRORES: ["-c:v", "prores_ks", "-profile:v", "3", "-vendor", "apl0"],
        FilmFormat.DNXHR: ["-c:v", "dnxhd", "-profile:v", "dnxhr_hqx"],
        FilmFormat.FFV1: ["-c:v", "ffv1", "-level", "3", "-slices", "4", "-slicecrc", "1", "-g", "1"],
        FilmFormat.GIF: ["-c:v", "gif", "-loop", "0"],
        FilmFormat.WEBP: ["-c:v", "libwebp_anim", "-pix_fmt", "bgra", "-quality", str(webp), "-loop", "0"],
    }[form]


def _sound_codec(facts: FormatFacts) -> list[str]:
    """Return AAC for films to be seen, and what loses nothing for those to be cut or kept."""
    if ".mp4" in facts.suffixes:
        return ["-c:a", "aac", "-b:a", "192k"]
    return ["-c:a", "pcm_s24le" if ".mov" in facts.suffixes else "flac"]


def _tagged(form: FilmFormat, facts: FormatFacts, moved: str) -> list[str]:
    """Return the filter that gives frames their tags; for GIF the one that finds its 256 colours and dithers to them."""
    if form is FilmFormat.GIF:
        return ["-filter_complex", "split[a][b];[a]palettegen=stats_mode=full[p];[b][p]paletteuse=dither=sierra2_4a"]
    if facts.kind is FilmKind.ANIMATION:
        return []
    place = "unspecified" if facts.full_range else "topleft" if facts.top_left else "left"
    tags = f"color_primaries={_PRIMARIES[facts.primaries]}:color_trc={_TRANSFERS[facts.transfer]}"
    tags += f":colorspace={_MATRICES[facts.matrix]}:range={'pc' if facts.full_range else 'tv'}:chroma_location={place}"
    return ["-vf", f"setparams={tags}{moved}"]


def _container(facts: FormatFacts, fps: Fraction, labels: FilmLabels) -> list[str]:
    if facts.kind is FilmKind.ANIMATION:
        return []
    told = ["-metadata", f"title={labels.title}"] if labels.title else []
    if labels.taken is not None:
        told += ["-metadata", f"date={labels.taken.isoformat(timespec='seconds')}"]
        if labels.taken.tzinfo is not None:
            told += ["-metadata", f"creation_time={labels.taken.astimezone(UTC).isoformat(timespec='seconds')}"]
        code = timecode(labels.taken, fps)
        told += ["-timecode", code] if code and ".mkv" not in facts.suffixes else []
    tag = ["-tag:v", "hvc1"] if facts.tag == "hvc1" else []
    return [*tag, *told, *([] if ".mkv" in facts.suffixes else ["-movflags", "+faststart"])]


def muxer(path: Path) -> str:
    """Return the encoder program's name for the container of a file."""
    suffix = path.suffix.lower()[1:]
    return "matroska" if suffix == "mkv" else suffix
