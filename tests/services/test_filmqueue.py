"""Films made one after another from the line: past failures, after a restart, whatever happens to the night."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import pytest

from lapsebench.core.filmsettings import FilmSettings
from lapsebench.core.formats import FilmFormat
from lapsebench.core.project import Project
from lapsebench.errors import Cancelled, FrameError, OutputError
from lapsebench.io import queuefile
from lapsebench.services import filmqueue
from lapsebench.services.film import FilmDone, make_film
from lapsebench.services.survey import gather, level, responses_at, survey


@pytest.fixture
def project(make_frames: Callable[..., Path]) -> Project:
    """Return the project of a small night."""
    return gather([make_frames()])[0]


@pytest.fixture
def films(tmp_path: Path) -> Path:
    """Return the folder that films go to."""
    folder = tmp_path / "films"
    folder.mkdir()
    return folder


def make_all() -> list[FilmDone]:
    """Make all that waits, as a program does that knows nothing but the folder."""
    done, tried = list[FilmDone](), set[str]()
    while (entry := filmqueue.next_waiting(tried)) is not None:
        tried.add(entry.key)
        try:
            made = filmqueue.make(entry)
        except (FrameError, OutputError):
            continue
        assert made is not None
        done.append(made)
    return done


def frames_of(film: Path) -> int:
    with av.open(str(film)) as container:
        return sum(1 for _ in container.decode(video=0))


def digests(folder: Path) -> dict[str, str]:
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.iterdir()}


def test_two_films_are_made_one_after_another_and_sources_stay_untouched(project: Project, films: Path) -> None:
    before = digests(project.sources[0])
    filmqueue.add(project, films / "one.mp4")
    filmqueue.add(replace(project, left_out=frozenset({0, 1}), film=FilmSettings(format=FilmFormat.FFV1)), films / "two")
    assert [entry.title for entry in queuefile.entries()[0]] == ["one.mp4", "two.mkv"]
    assert [done.path for done in make_all()] == [films / "one.mp4", films / "two.mkv"]
    assert (frames_of(films / "one.mp4"), frames_of(films / "two.mkv")) == (8, 6)
    assert not queuefile.entries()[0]
    assert not list(queuefile.queue_folder().glob("film-*"))
    assert digests(project.sources[0]) == before


def test_a_film_of_the_line_is_the_film_made_at_once(project: Project, films: Path) -> None:
    film = FilmSettings(format=FilmFormat.FFV1, fps=Fraction(30))
    surveyed = survey(replace(project, film=film))
    light = level(surveyed, surveyed.project)
    make_film(surveyed.project, light, films / "at once.mkv", responses=responses_at(surveyed))
    filmqueue.add(surveyed.project, films / "waited.mkv")
    make_all()
    pixels = []
    for name in ("at once.mkv", "waited.mkv"):
        with av.open(str(films / name)) as container:
            assert container.streams.video[0].average_rate == 30
            pixels.append([frame.to_ndarray().tobytes() for frame in container.decode(video=0)])
    assert len(pixels[0]) == 8
    assert pixels[0] == pixels[1]


def test_a_film_that_fails_keeps_its_reason_and_the_next_goes_on(project: Project, films: Path) -> None:
    filmqueue.add(project, films / "one.mp4")
    filmqueue.add(project, films / "two.mp4")
    (films / "one.mp4").write_bytes(b"came to be there meanwhile")
    assert [done.path.name for done in make_all()] == ["two.mp4"]
    (failed,) = queuefile.entries()[0]
    assert failed.failed
    assert "one.mp4 exists already" in failed.reason
    assert filmqueue.next_waiting() is None
    assert (films / "one.mp4").read_bytes() == b"came to be there meanwhile"
    (films / "one.mp4").unlink()
    filmqueue.again(failed)
    assert [done.path.name for done in make_all()] == ["one.mp4"]
    assert frames_of(films / "one.mp4") == 8


def test_a_still_that_is_gone_is_left_out_as_when_a_project_is_opened(project: Project, films: Path) -> None:
    filmqueue.add(project, films / "one.mp4")
    project.frames[3].path.unlink()
    make_all()
    assert frames_of(films / "one.mp4") == 7


def test_a_night_that_is_gone_is_a_reason(project: Project, films: Path) -> None:
    filmqueue.add(project, films / "one.mp4")
    for frame in project.frames:
        frame.path.unlink()
    assert not make_all()
    (entry,) = queuefile.entries()[0]
    assert "no frame is in use" in entry.reason


def test_what_is_edited_later_is_not_in_the_waiting_film(project: Project, films: Path) -> None:
    entry = filmqueue.add(project, films / "one.mp4")
    edited = replace(project, left_out=frozenset(range(5)))
    filmqueue.add(edited, films / "two.mp4")
    assert queuefile.project_of(entry) == project
    assert [len(done.frames) for done in make_all()] == [8, 3]


def test_cancelled_it_waits_on_without_a_reason(project: Project, films: Path) -> None:
    entry = filmqueue.add(project, films / "one.mp4")
    filming = list[bool]()

    def stop(done: int, total: int) -> None:
        if filming and 0 < done < total:
            raise Cancelled

    with pytest.raises(Cancelled):
        filmqueue.make(entry, stop, filming=lambda: filming.append(True))
    assert queuefile.entries()[0] == (entry,)
    assert not list(films.iterdir())
    assert filmqueue.next_waiting() == entry


def test_what_another_makes_is_stepped_over(project: Project, films: Path) -> None:
    first, second = (filmqueue.add(project, films / name) for name in ("one.mp4", "two.mp4"))
    with queuefile.held(first):
        assert filmqueue.next_waiting() == second
        assert filmqueue.make(first) is None
    assert not list(films.iterdir())
    assert filmqueue.next_waiting() == first


def test_a_film_is_put_in_line_only_if_it_could_be_made_now(project: Project, films: Path) -> None:
    (films / "there.mp4").write_bytes(b"mine")
    with pytest.raises(OutputError, match="exists already"):
        filmqueue.add(project, films / "there.mp4")
    with pytest.raises(OutputError, match="does not exist"):
        filmqueue.add(project, films / "no" / "one.mp4")
    with pytest.raises(OutputError, match="no frame"):
        filmqueue.add(replace(project, left_out=frozenset(range(8))), films / "one.mp4")
    filmqueue.add(project, films / "one.mp4")
    with pytest.raises(OutputError, match="already"):
        filmqueue.add(project, films / "one.mp4")
    filmqueue.add(project, films / "there.mp4", overwrite=True)
    assert [entry.title for entry in queuefile.entries()[0]] == ["one.mp4", "there.mp4"]
    make_all()
    assert frames_of(films / "there.mp4") == 8
