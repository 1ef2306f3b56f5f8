"""Numbers as a person reads them: counts, times, stops and file sizes."""

from __future__ import annotations

from datetime import datetime
from fractions import Fraction

from PySide6.QtCore import QObject

from lapsebench.core.bodies import taken_of
from lapsebench.core.exposure import shutter_text
from lapsebench.core.formatfacts import FilmKind
from lapsebench.core.formats import FilmFormat
from lapsebench.core.project import Project
from lapsebench.core.sequence import Frame, Shot
from lapsebench.core.uncertainty import SURE_ERRORS
from lapsebench.services.film import FilmDone
from lapsebench.services.filmplan import FilmPlan


def margin(error_ev: float) -> str:
    """Return how far a light with this standard error may be off with 95 % certainty, stops: `± 0.01` at least."""
    return f"±\N{NO-BREAK SPACE}{max(SURE_ERRORS * error_ev, 0.01):.2f}"


class Words(QObject):
    """Makes the short texts that several parts of the window show."""

    def frames(self, count: int) -> str:
        """Return `120 frames`."""
        return self.tr("1 frame") if count == 1 else self.tr("{0} frames").format(f"{count:,}")

    def clock(self, taken: datetime | None) -> str:
        """Return the camera's clock time, `21:04:10`."""
        return taken.strftime("%H:%M:%S") if taken else self.tr("no clock time")

    def span(self, project: Project, shot: Shot) -> str:
        """Return from when to when a shot was taken, `21:04–22:31`."""
        first, last = (taken_of(project.frames[i], project.clocks) for i in (shot.first, shot.last))
        if first is None or last is None:
            return self.tr("no clock times")
        return f"{first:%H:%M}–{last:%H:%M}"

    def camera_setting(self, frame: Frame) -> str:
        """Return `10 s   f/2.8   ISO 1600`, leaving out what is unknown."""
        parts = [
            shutter_text(frame.exposure_s) if frame.exposure_s else "",
            f"f/{frame.f_number:.3g}" if frame.f_number else "",
            f"ISO {frame.iso:.0f}" if frame.iso else "",
        ]
        return "   ".join(part for part in parts if part)

    def stops(self, value: float) -> str:
        """Return `+0.42 stop`."""
        return self.tr("{0} stop").format(f"{value:+.2f}".replace("-", "−"))

    def uncertain(self, error_ev: float) -> str:
        """Return what it means that an exposure is uncertain by this standard error (stops), and what to do about it."""
        meaning = self.tr("Too much changed here: the pictures tell the exposure only to {0} stop, so the film may flicker.")
        remedy = self.tr("Look at it in the film; hold it with a peg, or leave it out.")
        return f"{meaning.format(margin(error_ev))}\n{remedy}"

    def seconds(self, value: float) -> str:
        """Return a film's length, `4.8 s` or `2:05.0`."""
        if value < 60:
            return self.tr("{0} s").format(f"{value:.1f}")
        return f"{int(value // 60)}:{value % 60:04.1f}"

    def left(self, seconds: float) -> str:
        """Return the time left, `1:05 left`."""
        whole = max(1, round(seconds))
        hours, minutes, rest = whole // 3600, whole // 60 % 60, whole % 60
        clock = f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"
        return self.tr("{0} left").format(clock)

    def size(self, count: int) -> str:
        """Return bytes in decimal units, `12 MB`."""
        for unit, scale in (("GB", 1e9), ("MB", 1e6), ("kB", 1e3)):
            if count >= scale:
                value = count / scale
                return f"{value:.1f} {unit}" if value < 10 else f"{value:.0f} {unit}"
        return self.tr("{0} bytes").format(count)

    def rate(self, fps: Fraction) -> str:
        """Return a frame rate as it is spoken, `25` or `23.976`."""
        return f"{float(fps):.3f}".rstrip("0").rstrip(".")

    def quality(self, value: int) -> str:
        """Return a quality 0..100 with what it is good for, `70 · very good`."""
        bands = (
            (15, self.tr("smallest file")),
            (40, self.tr("small file")),
            (65, self.tr("good for sharing")),
            (85, self.tr("very good")),
            (100, self.tr("looks like the stills")),
        )
        words = next(word for limit, word in bands if value <= limit)
        return f"{value} · {words}"

    def format_facts(self, plan: FilmPlan) -> str:
        """Return what the format of a film is good for, its codec and suffix, and what the film takes of the disk."""
        facts = plan.form.facts
        good_for = facts.purpose.partition(": ")[2]
        kept = self.tr("folder of {0}").format(facts.frame_suffix) if facts.frame_suffix else facts.suffixes[0]
        parts = [facts.codec, kept]
        if plan.frames:
            parts.append(self.tr("at least about {0}").format(self.size(plan.bytes)))
        return f"{good_for[:1].upper()}{good_for[1:]}. {' · '.join(parts)}"

    def found(self, done: FilmDone, form: FilmFormat) -> str:
        """Return what a finished film is and what was found in it."""
        told = [self.tr("{0}, {1} × {2} pixels.").format(form.facts.codec, *done.size)]
        if done.check is not None:
            parts = [self.frames(done.check.frames)]
            if form.facts.kind is not FilmKind.ANIMATION:
                parts.append(self.tr("colours as sent"))
            if done.check.sound_s is not None:
                parts.append(self.tr("{0} of music").format(self.seconds(done.check.sound_s)))
            told.append(self.tr("Checked: {0}.").format(", ".join(parts)))
        if done.kept:
            told.append(self.tr("Kept from before: {0}.").format(self.frames(done.kept)))
        if done.flash is not None and not done.flash.findings:
            told.append(self.tr("Flashes: safe by WCAG 2.2 and BT.1702-3."))
        return " ".join(told)
