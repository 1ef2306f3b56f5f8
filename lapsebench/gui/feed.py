"""Feeds the picture view: at once from what is at hand, then sharp from the file; only the latest frame counts."""

from __future__ import annotations

from PySide6.QtCore import QObject, QTimer, Signal
from PySide6.QtGui import QImage

from lapsebench.core.balance import Multipliers
from lapsebench.core.curves import Responses
from lapsebench.core.gains import GainEv
from lapsebench.core.look import Look
from lapsebench.core.metering import FrameMeasure
from lapsebench.core.sequence import Frame
from lapsebench.gui.frame_grips import outline
from lapsebench.gui.jobs import Jobs, Latest
from lapsebench.gui.picture import PictureView, Side, to_image
from lapsebench.gui.session import Session
from lapsebench.gui.sharp import Sharp, Wanted, without_detail
from lapsebench.gui.words import Words
from lapsebench.services import preview
from lapsebench.services.filmpart import film_shape
from lapsebench.services.finish import PLAIN, Finish

_SETTLE_MS = 60


class PictureFeed(QObject):
    """Keeps the picture view on the session's playhead."""

    failed = Signal(object)

    def __init__(self, session: Session, jobs: Jobs, view: PictureView, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._session, self._view, self._words = session, view, Words(self)
        self._sharp: Sharp | None = None
        self._playing = False
        self._seen: tuple[Multipliers | None, Look] = None, Look()
        self._latest = Latest(jobs, self)
        self._latest.ready.connect(self._take)
        self._latest.failed.connect(self.failed)
        self._settle = QTimer(self, singleShot=True, interval=_SETTLE_MS)
        self._settle.timeout.connect(self._ask)
        session.opened.connect(self._forget)
        session.playhead_changed.connect(self.refresh)
        session.film_light_changed.connect(self.refresh)
        session.project_changed.connect(self._look)
        session.measured.connect(self._measured)
        view.view_changed.connect(self._settle.start)
        view.side_changed.connect(self.refresh)

    def set_playing(self, playing: bool) -> None:
        """While playing only small pictures are shown; on pause the sharp one is asked for."""
        self._playing = playing
        if playing:
            self._settle.stop()
            self._latest.drop()
        else:
            self.refresh()

    def refresh(self) -> None:
        """Show the playhead's frame with its gain: what is at hand now, the sharp one when it is ready."""
        frame = self._session.frame
        if frame is None:
            self._view.set_pictures(None, None)
            return
        if frame.width:
            self._view.set_source(frame.width, frame.height)
        self._seen = frame.shown_balance, self._session.finish_of(self._session.playhead).look
        self._show_crop()
        self._show_captions(frame)
        self._show_at_hand()
        if not self._playing:
            self._settle.start()

    def _show_at_hand(self) -> None:
        number, gain = self._session.playhead, self._session.gains_of(self._session.playhead)
        frame, sharp = self._session.project.frames[number], self._sharp
        if sharp is not None and (sharp.frame, sharp.balance) != (number, frame.shown_balance):
            sharp = None
        measure = self._session.measures.get(number)
        before = film = None
        if self._view.side is not Side.FILM:
            before = sharp.before.image if sharp and sharp.before else _proxy(measure, frame, 0.0, (), PLAIN)
        if self._view.side is not Side.BEFORE:
            responses, finish = self._session.responses_of(number), self._session.finish_of(number)
            film = sharp.with_gain(gain, responses, finish) if sharp else None
            film = film or _proxy(measure, frame, gain, responses, finish)
        self._view.set_pictures(before, film)

    def _ask(self) -> None:
        number, session, view = self._session.playhead, self._session, self._view
        frame, kept = session.frame, self._sharp
        if frame is None or not frame.readable or self._playing or not view.isVisible():
            return
        before, film = view.side is not Side.FILM, view.side is not Side.BEFORE
        done = session.responses_of(number), session.finish_of(number)
        wanted = Wanted(number, frame, session.gains_of(number), view.wanted_long_side(), before, film, *done)
        if wanted.met_by(kept):
            self._latest.drop()  # what is under way is of a gain or size that is past
        else:
            self._latest.request(lambda _tick: wanted.render(kept))

    def _take(self, result: object) -> None:
        if isinstance(result, Sharp) and result.frame == self._session.playhead and not self._playing:
            self._sharp = result
            frame = self._session.project.frames[result.frame]
            self._view.set_source(*((frame.width, frame.height) if frame.width else result.size))
            self._show_at_hand()

    def _measured(self, number: int) -> None:
        if number == self._session.playhead and self._sharp is None:
            self.refresh()

    def _forget(self) -> None:
        self._sharp = None
        self._latest.drop()
        self._view.set_zoom(None)
        self._view.set_pictures(None, None)

    def _show_captions(self, frame: Frame) -> None:
        setting = self._words.camera_setting(frame)
        before = self.tr("as shot   {0}").format(setting) if setting else self.tr("as shot")
        gain = self._words.stops(self._session.gain(self._session.playhead))
        self._view.set_captions(before, self.tr("film   {0}").format(gain))

    def _look(self) -> None:
        """Show what an edit changed; a film light that changed is told by itself."""
        frame = self._session.frame
        self._show_crop()
        if frame is None or self._session.film_light is not None:
            return
        if (frame.shown_balance, self._session.finish_of(self._session.playhead).look) != self._seen:
            self.refresh()

    def _show_crop(self) -> None:
        """Show what the film shows of this frame, where it isn't all."""
        session, frame = self._session, self._session.frame
        shape = film_shape(session.project, session.used)
        crop = None
        if frame is not None and session.shot is not None and shape is not None:
            part = shape.part(frame, session.shot.view, session.share_of(session.playhead))
            size = frame.width, frame.height
            if part is not None and (part.turn_deg or part.width < size[0] - 1 or part.height < size[1] - 1):
                crop = outline(part, size)
        self._view.set_crop(crop)


def _proxy(
    measure: FrameMeasure | None, frame: Frame, gain_ev: GainEv, responses: Responses, finish: Finish
) -> QImage | None:
    if measure is None:
        return None
    return to_image(preview.small_picture(measure, frame, gain_ev, responses, finish))


def thumbnail(session: Session, number: int) -> QImage | None:
    """Return the small picture of a frame as it is in the film, None while it is not measured."""
    frame, finish = session.project.frames[number], without_detail(session.finish_of(number))
    responses = session.responses_of(number)
    return _proxy(session.measures.get(number), frame, session.gains_of(number), responses, finish)
