"""A finished film as JSON: what it holds and what was found when it was looked into."""

from __future__ import annotations

from math import isfinite
from typing import Any

from lapsebench.core.filmsettings import FilmSettings
from lapsebench.services.film import FilmDone
from lapsebench.services.flashcheck import flash_json


def film_report(done: FilmDone, settings: FilmSettings) -> dict[str, Any]:
    """Return the entry "film" of a report, ready for JSON; `psnr_db` is null where every code is what was sent."""
    facts, check = settings.format.facts, done.check
    record: dict[str, Any] = {
        "file": done.path.name,
        "format": settings.format.value,
        "codec": facts.codec,
        "frames": len(done.frames),
        "size": list(done.size),
        "fps": str(done.fps),
        "seconds": round(done.seconds, 5),
        "bytes": done.bytes,
    }
    if check is not None:
        record["check"] = {
            "frames": check.frames,
            "size": list(check.size),
            "fps": str(check.fps),
            "seconds": round(check.seconds, 5),
            "tag": check.tag.strip("\0 ") or None,
            "colour": list(check.colour) if check.colour else None,
            "psnr_db": round(check.psnr_db, 2) if isfinite(check.psnr_db) else None,
            "light_level": list(check.light_level) if check.light_level else None,
            "sound_s": check.sound_s,
        }
    if done.flash is not None:
        record["flash"] = flash_json(done.flash)
    return record
