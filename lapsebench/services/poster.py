"""Saves one frame as it is in the film as a picture of its own."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from lapsebench.core.curves import Responses
from lapsebench.core.filmlight import FilmLight
from lapsebench.core.formats import FilmFormat
from lapsebench.core.project import Project
from lapsebench.errors import OutputError
from lapsebench.imaging.framing import framing_of
from lapsebench.io.atomic import write_bytes
from lapsebench.io.stillfiles import jpeg_bytes, png_bytes, tiff_bytes
from lapsebench.services.care import cares_of
from lapsebench.services.filmwork import FilmPictures, Gain, read_film_still, shown_of
from lapsebench.services.stills import size_of
from lapsebench.services.survey import used_frames

SUFFIXES = {".png": png_bytes, ".tif": tiff_bytes, ".tiff": tiff_bytes, ".jpg": jpeg_bytes, ".jpeg": jpeg_bytes}
"""What a picture's name may end in, and what makes it: PNG and TIFF of 16 bits, JPEG of 8."""


def picture_path(output: Path, project: Project, *, overwrite: bool = False) -> Path:
    """Return where a picture would be written, a PNG where no suffix is given; OutputError where it can't or must not be."""
    path = (output if output.suffix else output.with_suffix(".png")).absolute()
    if path.suffix.lower() not in SUFFIXES:
        raise OutputError(f"{path.name} is no picture that can be written.", "End the name in .png, .tif or .jpg.")
    if not path.parent.is_dir():
        raise OutputError(f"The folder {path.parent} does not exist.", "Make it, or choose another folder.")
    if path.exists():
        if any(frame.path.exists() and path.samefile(frame.path) for frame in project.frames):
            raise OutputError(
                f"{path.name} is one of your source frames.", "Choose another name; sources are never written."
            )
        if path.is_dir() or not overwrite:
            raise OutputError(f"{path} exists already.", "Choose another name, or allow it to be replaced.")
    return path


def save_picture(
    project: Project,
    light: FilmLight,
    number: int,
    output: Path,
    *,
    responses: Sequence[Responses] = (),
    overwrite: bool = False,
) -> Path:
    """Write frame `number` of the project as it is in the film, at the film's size, and return the picture's path.

    Raises OutputError where it can't be written, FrameError where the still can't be read.
    """
    path = picture_path(output, project, overwrite=overwrite)
    used = used_frames(project)
    numbers = used if number in used else sorted([*used, number])
    still, place = project.frames[number], numbers.index(number)
    shown = shown_of(project, numbers)[place]
    gain = Gain(light.gains_of(number), responses[number] if responses else ())
    cares = [cares_of(project, numbers, lambda: None)[place]]
    first = next(iter(used), number)
    framing = framing_of(project.film, size_of(read_film_still(project.frames[first])), shown_of(project, numbers)[0].view)
    pictures = FilmPictures([still], [gain], cares, [shown], framing, FilmFormat.TIFF)
    (codes,) = pictures.made(0).frame.planes
    write_bytes(path, SUFFIXES[path.suffix.lower()](codes))
    return path
