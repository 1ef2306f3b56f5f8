"""What the user sets of the film: its format, size, quality and music; and films of every kind made from the window."""

from __future__ import annotations

import wave
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QStandardItemModel
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QFileDialog, QScrollArea
from pytestqt.qtbot import QtBot

from lapsebench.core.filmsettings import FilmSettings
from lapsebench.core.formatfacts import FilmKind
from lapsebench.core.formats import FilmFormat
from lapsebench.core.progress import Tick
from lapsebench.core.sound import Loudness, Sound
from lapsebench.errors import Cancelled
from lapsebench.gui.commands import change_film
from lapsebench.gui.sections import filmformat
from lapsebench.gui.sections.film import FilmSection
from lapsebench.gui.window import MainWindow
from lapsebench.services import film as filming

Until = Callable[[Callable[[], bool]], None]
RATE_HZ = 48_000


def choose(window: MainWindow, form: FilmFormat) -> None:
    """Choose a format as a user does, by its entry in the list."""
    box = window.bench.film.format
    index = box.findData(form.value)
    box.setCurrentIndex(index)
    box.activated.emit(index)


def film_of(window: MainWindow) -> FilmSettings:
    """Return the settings of the film."""
    return window.session.project.film


@pytest.fixture
def output(surveyed: MainWindow, tmp_path: Path) -> Path:
    """Return the empty folder that the film goes into, chosen in the window; its name is "aurora"."""
    folder = tmp_path / "out"
    folder.mkdir()
    surveyed.bench.foot.set_path(folder / "aurora.mp4", confirmed=False)
    return folder


@pytest.fixture
def music(tmp_path: Path) -> Path:
    """Return four seconds of a tone."""
    path = tmp_path / "song.wav"
    tone = 0.2 * np.sin(2 * np.pi * 440 * np.arange(4 * RATE_HZ) / RATE_HZ)
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        file.writeframes((tone * 32767).astype("<i2").tobytes())
    return path


def make(window: MainWindow, until: Until) -> str:
    """Make the film with the button; return what the message says, its remedy line included."""
    QTest.mouseClick(window.bench.foot.make, Qt.MouseButton.LeftButton)
    until(lambda: not window.filming.busy)
    message = window.messages.messages[0]
    return f"{message.what} {message.remedy}"


# -- format


def test_a_format_brings_its_suffix_and_facts_and_can_be_undone(surveyed: MainWindow, output: Path) -> None:
    film, foot = surveyed.bench.film, surveyed.bench.foot
    assert film.facts.text().startswith("Plays everywhere. H.264, 8 bits · .mp4 · at least about ")
    choose(surveyed, FilmFormat.PRORES)
    assert film_of(surveyed).format is FilmFormat.PRORES
    assert foot.path == output / "aurora.mov"
    assert film.facts.text().startswith("For cutting and grading. ProRes 422 HQ, 10 bits · .mov · at least about ")
    assert surveyed.session.undo_stack.undoText() == "Format of the film"
    surveyed.menus.actions["undo"].trigger()
    assert film_of(surveyed).format is FilmFormat.H264
    assert film.format.currentText() == "Share: H.264"
    assert foot.path == output / "aurora.mp4"


def test_every_format_can_be_chosen_and_names_its_file(surveyed: MainWindow, output: Path) -> None:
    film, foot = surveyed.bench.film, surveyed.bench.foot
    for form in FilmFormat:
        choose(surveyed, form)
        facts = form.facts
        assert film_of(surveyed).format is form
        assert foot.path == output / f"aurora{next(iter(facts.suffixes), '')}"
        assert facts.codec in film.facts.text()
        assert (facts.frame_suffix or facts.suffixes[0]) in film.facts.text()
        assert film.quality.isEnabled() == facts.quality_counts
    assert len({film.format.itemText(i) for i in range(film.format.count())} - {""}) == len(FilmFormat)


def test_the_facts_follow_the_frames_in_use(surveyed: MainWindow) -> None:
    choose(surveyed, FilmFormat.FFV1)
    assert "at least about 83 kB" in surveyed.bench.film.facts.text(), "144 x 96 x 12 x 4 bits"
    surveyed.session.toggle_frames(range(6))
    assert "at least about 41 kB" in surveyed.bench.film.facts.text()


def test_full_quality_is_told_where_nothing_can_be_set(surveyed: MainWindow) -> None:
    film = surveyed.bench.film
    choose(surveyed, FilmFormat.PRORES)
    assert film.quality.value_label.text() == "full quality"
    choose(surveyed, FilmFormat.AV1)
    assert film.quality.value_label.text() == "70 · very good"


def test_a_suffix_typed_by_hand_is_kept_and_refused_in_words(surveyed: MainWindow, output: Path, until: Until) -> None:
    foot = surveyed.bench.foot
    foot.name.setText("aurora.avi")
    choose(surveyed, FilmFormat.HEVC)
    assert foot.path == output / "aurora.avi"
    assert "aurora.avi is not a film of this format: .avi can't be written. End the name in .mp4 or .mov" in make(
        surveyed, until
    )
    assert not list(output.iterdir())


def test_a_suffix_that_the_next_format_has_too_stays(surveyed: MainWindow, output: Path) -> None:
    surveyed.bench.foot.set_path(output / "aurora.mov", confirmed=False)
    choose(surveyed, FilmFormat.HEVC)
    assert surveyed.bench.foot.path == output / "aurora.mov"


def test_a_name_with_a_number_after_a_dot_is_kept_whole(surveyed: MainWindow, output: Path) -> None:
    foot = surveyed.bench.foot
    foot.name.setText("night 1.2")
    assert foot.path == output / "night 1.2.mp4"
    choose(surveyed, FilmFormat.TIFF)
    assert foot.path == output / "night 1.2"


def test_frames_do_not_go_into_the_folder_of_the_sources(surveyed: MainWindow, night: Path) -> None:
    surveyed.bench.foot.set_path(night.with_suffix(".mp4"), confirmed=False)
    choose(surveyed, FilmFormat.TIFF)
    assert surveyed.bench.foot.path == night.with_name("night frames")


def test_the_folder_for_frames_is_chosen(surveyed: MainWindow, output: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    choose(surveyed, FilmFormat.EXR)
    monkeypatch.setattr(QFileDialog, "getExistingDirectory", lambda *_: str(output.parent))
    surveyed.bench.foot.choose.click()
    assert surveyed.bench.foot.path == output.parent / "aurora"


def test_the_open_section_needs_no_scrolling_on_a_small_screen(surveyed: MainWindow, until: Until) -> None:
    bench = surveyed.bench
    for section in bench.sections:
        section.set_open(section is bench.film)
    area = next(area for area in bench.findChildren(QScrollArea) if area.isAncestorOf(bench.film))
    until(lambda: area.verticalScrollBar().maximum() == 0)
    assert surveyed.height() <= 800


# -- size


def test_usual_sizes_are_offered(surveyed: MainWindow) -> None:
    box = surveyed.bench.film.size_box
    assert [box.itemText(i).split(" (")[0] for i in range(box.count())] == [
        "as the frames", "8K", "4K", "1440p", "1080p", "720p", "own size…",
    ]  # fmt: skip
    box.activated.emit(1)
    assert film_of(surveyed).size == (7680, 4320)
    assert surveyed.bench.film.result.text().startswith("6480 × 4320"), "3:2 in a box of 16:9"


def test_an_own_size_is_typed(surveyed: MainWindow) -> None:
    film = surveyed.bench.film
    film.size_box.activated.emit(film.size_box.count() - 1)
    assert (film_of(surveyed).size, film_of(surveyed).exact) == ((144, 96), True)
    film.width_spin.setValue(120)
    film.height_spin.setValue(120)
    assert (film_of(surveyed).size, film_of(surveyed).exact) == ((120, 120), True)
    assert film.result.text().startswith("120 × 120")
    surveyed.menus.actions["undo"].trigger()
    assert film_of(surveyed).size == (144, 96)


def test_a_size_that_the_format_cannot_have_is_refused_before_work_starts(
    surveyed: MainWindow, output: Path, until: Until
) -> None:
    film = surveyed.bench.film
    surveyed.session.edit("", change_film(size=(8192, 8192), exact=True))
    assert film.problem.text() == "A film of 8192 x 8192 pixels is larger than players can show. Choose a smaller size."
    assert "larger than players can show" in make(surveyed, until)
    assert not list(output.iterdir())
    choose(surveyed, FilmFormat.FFV1)
    assert film.problem.text() == ""


def test_8k_cannot_be_chosen_for_a_loop_and_says_why(surveyed: MainWindow) -> None:
    model = surveyed.bench.film.size_box.model()
    assert isinstance(model, QStandardItemModel)
    assert model.item(1).isEnabled()
    choose(surveyed, FilmFormat.GIF)
    assert not model.item(1).isEnabled()
    assert model.item(1).toolTip() == "A loop has at most 640 pixels along its longer side."
    assert model.item(0).isEnabled()


def test_a_loop_tells_its_own_rate(surveyed: MainWindow) -> None:
    choose(surveyed, FilmFormat.WEBP)
    assert surveyed.bench.film.result.text() == "144 × 96 · 6 frames · 0.5 s · 12.5 a second"


# -- films made


def test_a_film_in_prores_is_made_and_told(surveyed: MainWindow, output: Path, until: Until) -> None:
    choose(surveyed, FilmFormat.PRORES)
    told = make(surveyed, until)
    with av.open(output / "aurora.mov") as film:
        assert film.streams.video[0].codec_context.name == "prores"
        assert sum(1 for _ in film.decode(video=0)) == 12
    assert told.startswith("Film done: aurora.mov, 12 frames, 0.5 s, ")
    assert "ProRes 422 HQ, 10 bits, 144 × 96 pixels. Checked: 12 frames, colours as sent. Flashes: safe" in told


def test_a_loop_comes_out_as_told_before(surveyed: MainWindow, output: Path, until: Until) -> None:
    choose(surveyed, FilmFormat.GIF)
    before = surveyed.bench.film.result.text()
    assert "Film done: aurora.gif, 6 frames, 0.5 s" in make(surveyed, until)
    with av.open(output / "aurora.gif") as film:
        stream = film.streams.video[0]
        assert before.startswith(f"{stream.codec_context.width} × {stream.codec_context.height} · 6 frames")
        assert Fraction(stream.average_rate or 0) == pytest.approx(12.5)


def test_frames_go_into_a_folder_and_those_there_are_kept(surveyed: MainWindow, output: Path, until: Until) -> None:
    choose(surveyed, FilmFormat.TIFF)
    assert "Checked: 12 frames, colours as sent." in make(surveyed, until)
    frames = sorted((output / "aurora").glob("*.tif"))
    assert [frame.name for frame in (frames[0], frames[-1])] == ["aurora_00001.tif", "aurora_00012.tif"]
    for frame in frames[3:]:
        frame.unlink()
    assert "Kept from before: 3 frames." in make(surveyed, until)
    assert len(list((output / "aurora").glob("*.tif"))) == 12


def test_frames_of_another_film_are_replaced_only_on_request(surveyed: MainWindow, output: Path, until: Until) -> None:
    choose(surveyed, FilmFormat.TIFF)
    make(surveyed, until)
    first = (output / "aurora" / "aurora_00001.tif").read_bytes()
    surveyed.bench.light.brightness.slider.setValue(20)
    assert make(surveyed, until).startswith("aurora holds frames of another film.")
    assert (output / "aurora" / "aurora_00001.tif").read_bytes() == first
    surveyed.messages.rows[0].message.buttons[0][1]()
    until(lambda: not surveyed.filming.busy)
    assert surveyed.messages.messages[0].what.startswith("Film done")
    assert (output / "aurora" / "aurora_00001.tif").read_bytes() != first


def test_cancelled_frames_are_kept_and_told(
    surveyed: MainWindow, output: Path, until: Until, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = filming.make_film

    def cancelled_after_five(*given: Any, tick: Tick, **options: Any) -> filming.FilmDone:
        def stop(done: int, total: int) -> None:
            tick(done, total)
            if done >= 5:
                raise Cancelled

        return made(*given, tick=stop, **options)

    choose(surveyed, FilmFormat.TIFF)
    monkeypatch.setattr(filming, "make_film", cancelled_after_five)
    assert make(surveyed, until).startswith("The film was cancelled. 5 frames are kept; made again, it goes on with them.")
    monkeypatch.setattr(filming, "make_film", made)
    assert "Kept from before: 5 frames." in make(surveyed, until)
    assert len(list((output / "aurora").glob("*.tif"))) == 12


# -- music


def test_music_is_chosen_set_and_taken_out(surveyed: MainWindow, music: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    box = surveyed.bench.film.sound
    assert not box.details.isVisible()
    monkeypatch.setattr(QFileDialog, "getOpenFileName", lambda *_: (str(music), ""))
    box.choose.click()
    assert film_of(surveyed).sound == Sound(music)
    assert box.details.isVisible()
    assert box.name.text() == "song.wav"
    box.start.setValue(1.5)
    box.fade_in.setValue(0.2)
    box.fade_out.setValue(1)
    box.loudness.activated.emit(2)
    assert film_of(surveyed).sound == Sound(music, 1.5, 0.2, 1.0, Loudness.BROADCAST)
    surveyed.menus.actions["undo"].trigger()
    assert box.loudness.currentText() == "−14 LUFS, for the net"
    box.drop.click()
    assert film_of(surveyed).sound is None
    assert not box.details.isVisible()


def test_a_file_without_sound_is_refused_in_words(
    surveyed: MainWindow, night: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    box = surveyed.bench.film.sound
    monkeypatch.setattr(QFileDialog, "getOpenFileName", lambda *_: (str(night / "F0000.jpg"), ""))
    box.choose.click()
    assert film_of(surveyed).sound is None
    assert box.told.text() == "“F0000.jpg” holds no sound. Choose another file."
    assert box.told.isVisible()


def test_music_that_ends_too_early_is_told_at_once_and_makes_no_film(
    surveyed: MainWindow, music: Path, output: Path, until: Until
) -> None:
    surveyed.session.edit("", change_film(sound=Sound(music)))
    assert surveyed.bench.film.sound.told.text() == ""
    surveyed.bench.film.sound.start.setValue(5)
    words = "“song.wav” ends before second 5. Start earlier in it."
    assert surveyed.bench.film.sound.told.text() == words
    assert make(surveyed, until) == words
    assert not list(output.iterdir())


def test_music_is_in_the_film(surveyed: MainWindow, music: Path, output: Path, until: Until) -> None:
    surveyed.session.edit("", change_film(sound=Sound(music)))
    assert "Checked: 12 frames, colours as sent, 0.5 s of music." in make(surveyed, until)
    with av.open(output / "aurora.mp4") as film:
        assert len(film.streams.audio) == 1


def test_a_loop_with_music_is_refused_in_words(surveyed: MainWindow, music: Path, until: Until) -> None:
    surveyed.session.edit("", change_film(sound=Sound(music), format=FilmFormat.GIF))
    words = "GIF, 256 colours carries no sound. Choose another format, or take the sound out."
    assert surveyed.bench.film.problem.text() == words
    assert make(surveyed, until) == words


# -- encoder of the graphics processor


@pytest.fixture
def with_trials(surveyed: MainWindow, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> FilmSection:
    """Return a section of the window's film whose trials find an encoder for HEVC only."""

    def trial(form: FilmFormat) -> str | None:
        return "hevc_trial" if form is FilmFormat.HEVC else None

    monkeypatch.setattr(filmformat, "hardware_encoder", trial)
    section = FilmSection(surveyed.session, jobs=surveyed.jobs)
    qtbot.addWidget(section)
    section.show()
    return section


def test_the_graphics_processor_is_offered_where_its_trial_succeeds(
    surveyed: MainWindow, with_trials: FilmSection, until: Until
) -> None:
    box = with_trials.hardware
    choose(surveyed, FilmFormat.HEVC)
    until(box.isVisible)
    box.click()
    assert film_of(surveyed).hardware
    surveyed.menus.actions["undo"].trigger()
    assert not film_of(surveyed).hardware
    assert not box.isChecked()
    choose(surveyed, FilmFormat.PRORES)
    assert not box.isVisible()
    choose(surveyed, FilmFormat.HEVC)
    assert box.isVisible(), "what was found is remembered"


def test_the_graphics_processor_is_not_offered_where_its_trial_fails(
    with_trials: FilmSection, qtbot: QtBot, surveyed: MainWindow, until: Until
) -> None:
    until(lambda: FilmFormat.H264 in with_trials.hardware._found)
    qtbot.wait(50)
    assert not with_trials.hardware.isVisible()
    assert film_of(surveyed).format is FilmFormat.H264


def test_kinds_of_formats_are_parted_by_lines(surveyed: MainWindow) -> None:
    box = surveyed.bench.film.format
    groups: list[list[str]] = [[]]
    for index in range(box.count()):
        if box.itemText(index):
            groups[-1].append(box.itemData(index))
        else:
            groups.append([])
    assert groups[0] == ["h264", "hevc", "av1"]
    kinds = [{FilmFormat(value).facts.kind for value in group} for group in groups]
    assert all(len(kind) == 1 for kind in kinds)
    assert {FilmKind.FRAMES} in kinds
