"""Reads what a still's metadata say of its exposure, time, camera and lens into a frame, without decoding the picture."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO
from pathlib import Path

from lapsebench.core.sequence import Fault, Frame
from lapsebench.errors import FrameError
from lapsebench.io.exif import tags_of
from lapsebench.io.header import layout_of
from lapsebench.io.kinds import is_raw
from lapsebench.io.layout import no_access
from lapsebench.io.rawheader import RawHeader, read_raw_header
from lapsebench.io.tags import facts_of


def _plain_header(path: Path) -> RawHeader:
    with path.open("rb") as file:
        layout = layout_of(file, path.name)
        source = BytesIO(layout.exif) if layout.exif else file if layout.format == "TIFF" else None
        facts = facts_of(tags_of(source) if source else {})
    width, height, bit_depth, _ = layout.header
    return RawHeader(facts, width, height, layout.orientation, bit_depth)


def read_metadata(path: Path) -> Frame:
    """Return the frame of a still from its header and Exif tags, without decoding the picture.

    Never raises for what a file holds or for being kept from it: such a frame is UNREADABLE, `problem` says why.
    """
    try:
        header = read_raw_header(path) if is_raw(path) else _plain_header(path)
    except OSError as error:
        problem = no_access(path.name, error).what
    except FrameError as error:
        problem = error.what
    else:
        picture = Frame(path, width=header.width, height=header.height, bit_depth=header.bit_depth)
        return replace(picture, orientation=header.orientation, **header.facts._asdict())
    return Frame(path, faults=frozenset({Fault.UNREADABLE}), problem=problem)
