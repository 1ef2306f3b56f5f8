"""The cameras' curves of a project: which pictures share one, and which responses a frame has."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from lapsebench.core.response import Origin, Response, any_estimated, srgb_response
from lapsebench.core.sequence import Frame

Responses = tuple[Response, ...]

_JPEG = (".jpg", ".jpeg", ".jpe")


@dataclass(frozen=True, slots=True)
class CameraCurve:
    """The responses of R, G and B of one kind of picture, see `kind_of`."""

    kind: str
    responses: Responses

    @property
    def estimated(self) -> bool:
        """Whether it is from the pictures; else sRGB is taken."""
        return any_estimated(self.responses)


def kind_of(frame: Frame) -> str:
    """Return what tells pictures of one curve from others: the camera's make and model, the kind of file and its depth."""
    suffix = frame.path.suffix.lower()
    kind = "jpeg" if suffix in _JPEG else suffix.lstrip(".")
    return f"{frame.camera or 'unknown camera'}, {kind}, {frame.bit_depth} bit"


def curve_for(curves: Iterable[CameraCurve], frame: Frame, *, use: bool) -> Responses:
    """Return the responses that a frame's light is measured and its gain applied through; sRGB's where `use` is off."""
    known = next((curve.responses for curve in curves if curve.kind == kind_of(frame)), None)
    responses = known or (srgb_response(),) * 3
    if use:
        return responses
    return tuple(replace(srgb_response(Origin.OFF), black_code=response.black_code) for response in responses)
