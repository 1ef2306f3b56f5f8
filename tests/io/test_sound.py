"""Music under a film: the right part of it, as long as the film, faded, and as loud as asked."""

from __future__ import annotations

import wave
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from numpy.typing import NDArray

from lapsebench.core.formats import FilmFormat
from lapsebench.core.sound import Loudness, Sound
from lapsebench.errors import SoundError
from lapsebench.imaging.planes import film_frame
from lapsebench.io.encode import FilmWriter
from lapsebench.io.sound import prepared

RATE = 48_000


@pytest.fixture
def tune(tmp_path: Path) -> Path:
    """Ten seconds of stereo tones: 400 Hz in the first five, 1000 Hz after, at a third of full scale."""
    at = np.arange(10 * RATE) / RATE
    tone = np.sin(2 * np.pi * np.where(at < 5, 400, 1000) * at) / 3
    return wav(tmp_path / "tune.wav", np.stack([tone, tone], axis=1))


def wav(path: Path, samples: NDArray[np.float64]) -> Path:
    with wave.open(str(path), "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes(np.rint(samples * 32767).astype("<i2").tobytes())
    return path


def heard(path: Path) -> NDArray[np.float64]:
    """Return the samples of a file, (n, 2), -1..1."""
    with av.open(path) as container:
        resampler = av.AudioResampler("fltp", "stereo", RATE)
        parts = [part.to_ndarray() for frame in container.decode(audio=0) for part in resampler.resample(frame)]
    return np.concatenate(parts, axis=1).T.astype(float)


def pitch(samples: NDArray[np.float64]) -> float:
    return float(np.abs(np.fft.rfft(samples[:, 0])).argmax() * RATE / len(samples))


def lufs_of_tone(samples: NDArray[np.float64]) -> float:
    """Return the loudness of a steady 1 kHz tone: -0.691 + 10 log10 of power, and K-weighting is +0.69 dB there.

    Rec. ITU-R BS.1770-4: a full-scale sine of 997 Hz in one channel is -3.01 LKFS.
    """
    return float(10 * np.log10((samples**2).mean(axis=0).sum()))


@pytest.mark.parametrize(("start", "hertz"), [(0.0, 400), (6.0, 1000)])
def test_the_wanted_part_is_cut_to_the_film(tune: Path, start: float, hertz: float) -> None:
    with prepared(Sound(tune, start, loudness=Loudness.OFF), 3.2) as path:
        assert path is not None
        samples = heard(path)
    assert len(samples) == round(3.2 * RATE)
    assert pitch(samples) == pytest.approx(hertz, abs=1)
    assert not path.exists()


def test_fades_are_where_they_were_asked(tune: Path) -> None:
    with prepared(Sound(tune, 0, fade_in_s=1, fade_out_s=2, loudness=Loudness.OFF), 5) as path:
        assert path is not None
        loud = np.abs(heard(path)[:, 0]).reshape(50, -1).max(axis=1)  # tenths of a second
    assert loud[20] == pytest.approx(1 / 3, abs=0.01)
    assert loud[5] == pytest.approx(0.55 / 3, abs=0.03)
    assert loud[40] == pytest.approx(0.5 / 3, abs=0.03)
    assert loud[0] < 0.04 and loud[-1] < 0.02


@pytest.mark.parametrize("loudness", [Loudness.NET, Loudness.BROADCAST])
def test_the_loudness_is_the_one_asked(tune: Path, loudness: Loudness) -> None:
    with prepared(Sound(tune, 5, 0, 0, loudness), 4) as path:
        assert path is not None
        assert lufs_of_tone(heard(path)) == pytest.approx(int(loudness), abs=0.3)


def test_music_that_ends_early_fades_there_and_silence_is_left_silent(tune: Path, tmp_path: Path) -> None:
    with prepared(Sound(tune, 8, 0, 0.5, Loudness.OFF), 4) as path:
        assert path is not None
        samples = heard(path)
    assert len(samples) == 4 * RATE
    assert np.abs(samples[2 * RATE + 100 :]).max() == 0
    assert np.abs(samples[2 * RATE - 500 : 2 * RATE]).max() < 0.02
    silent = wav(tmp_path / "silent.wav", np.zeros((RATE, 2)))
    with prepared(Sound(silent), 1) as path:
        assert path is not None
        assert np.abs(heard(path)).max() == 0


def test_what_is_no_sound_is_said(tune: Path, tmp_path: Path) -> None:
    (tmp_path / "text.mp3").write_text("no music")
    for path, start, said in (
        (tmp_path / "gone.mp3", 0.0, "is not there"),
        (tmp_path / "text.mp3", 0.0, "can't be read as sound"),
        (tune, 10.0, "ends before second 10"),
    ):
        with pytest.raises(SoundError, match=said), prepared(Sound(path, start), 3):
            pass
    with pytest.raises(ValueError, match="out of its range"):
        Sound(tune, -1)


@pytest.mark.parametrize(
    ("form", "codec"),
    [
        (FilmFormat.H264, "aac"),
        (FilmFormat.PQ, "aac"),
        (FilmFormat.AV1, "aac"),
        (FilmFormat.PRORES, "pcm_s24le"),
        (FilmFormat.FFV1, "flac"),
    ],
)
def test_the_film_carries_it_in_step(tune: Path, tmp_path: Path, form: FilmFormat, codec: str) -> None:
    """The tone changes after 2 s, as filmed, to a hundredth of a second."""
    seconds = 4
    with (
        prepared(Sound(tune, 3, 0, 0, Loudness.OFF), seconds) as sound,
        FilmWriter(tmp_path / "film", size=(256, 144), fps=Fraction(25), quality=70, form=form, sound=sound) as film,
    ):
        for n in range(25 * seconds):
            film.write(film_frame(np.full((144, 256, 3), n, np.uint8), form, n))
        path = film.finish()
    assert film.check.sound_s == pytest.approx(seconds, abs=0.05)
    with av.open(path) as container:
        assert container.streams.audio[0].codec_context.name == codec
        assert sum(1 for _ in container.decode(video=0)) == 25 * seconds
    samples = heard(path)
    window = RATE // 100
    tones = [pitch(samples[at : at + 4 * window]) for at in (2 * RATE - 5 * window, 2 * RATE + window)]
    assert tones == pytest.approx([400, 1000], abs=30)
