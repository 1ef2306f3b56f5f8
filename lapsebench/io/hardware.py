"""Encoders of graphics processors: offered only where a trial of a few frames succeeds on this computer."""

from __future__ import annotations

import sys
from functools import lru_cache

from lapsebench.core.formats import FilmFormat
from lapsebench.io.encoders import hardware_codec, upload
from lapsebench.io.program import ran

_KINDS = ("videotoolbox",) if sys.platform == "darwin" else ("nvenc", "qsv", "amf", "vaapi")
_FAMILIES = {FilmFormat.H264: "h264", FilmFormat.HEVC: "hevc"}
_TRIAL = "color=gray:size=640x360:rate=25"


def hardware_encoder(form: FilmFormat) -> str | None:
    """Return the name of an encoder of a graphics processor that makes films of `form` here; None where none does."""
    if form not in _FAMILIES:
        return None
    names = (f"{_FAMILIES[form]}_{kind}" for kind in _KINDS)
    return next((name for name in names if works(name, deep=form.facts.deep)), None)


@lru_cache(maxsize=16)
def works(encoder: str, *, deep: bool = False) -> bool:
    """Return whether an encoder of that name can encode three frames here, of 8 bits or `deep` 10; tried once a run."""
    first, moved = upload(encoder, deep=deep)
    source = ["-f", "lavfi", "-i", _TRIAL, "-frames:v", "3", "-vf", f"format={'yuv420p10le' if deep else 'yuv420p'}{moved}"]
    codec = hardware_codec(encoder, 70)
    return ran(["-loglevel", "error", *first, *source, *codec, "-f", "null", "-"]).returncode == 0
