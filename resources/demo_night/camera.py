"""The made-up camera: exposure, noise, the sRGB curve, 8-bit codes, and the EXIF it writes."""

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image as PillowImage
from PIL.ExifTags import IFD, Base
from PIL.TiffImagePlugin import IFDRational

from demo_night.lens import FOCAL_MM, Image
from demo_night.plan import SEED, PlannedFrame
from demo_night.scene import render_headlamp, render_scene

Codes = NDArray[np.uint8]
"""sRGB codes (height, width, 3)."""

MAKE, MODEL, SERIAL, LENS = "Velmar", "Velmar N2", "N2-0048213", "Velmar Sola 12mm f/1.8"
JPEG_QUALITY = 88
_FULL_WELL_E = 640_000.0
"""Electrons at white at ISO 100."""

_READ_NOISE_E = 7.0


def srgb_from_linear(linear: Image) -> Image:
    """The sRGB curve, IEC 61966-2-1: linear 0..1 to encoded 0..1."""
    high = 1.055 * np.maximum(linear, 0.0031308) ** np.float32(1 / 2.4) - 0.055
    return np.asarray(np.where(linear <= 0.0031308, 12.92 * linear, high), np.float32)


def add_noise(exposed: Image, frame: PlannedFrame) -> Image:
    """Photon and read noise at the frame's ISO; `exposed` is linear with white at 1."""
    rng = np.random.default_rng([SEED, 6, frame.index])
    electrons_at_white = _FULL_WELL_E * 100.0 / frame.setting.iso
    variance = np.clip(exposed, 0, None) / electrons_at_white + (_READ_NOISE_E / electrons_at_white) ** 2
    noise = np.sqrt(variance) * rng.standard_normal(exposed.shape, np.float32)
    return np.asarray(exposed + noise, np.float32)


def photograph(frame: PlannedFrame) -> Codes:
    """One frame as the camera has it before JPEG coding: sRGB codes (height, width, 3)."""
    light = render_scene(frame) + render_headlamp(frame)
    exposed = add_noise(np.asarray(light * np.float32(2.0**frame.received_ev), np.float32), frame)
    return np.round(srgb_from_linear(np.clip(exposed, 0, 1)) * 255).astype(np.uint8)


def exif_of(frame: PlannedFrame) -> PillowImage.Exif:
    """EXIF with nominal marks, local time with hundredths, and the names of camera and lens."""
    exif = PillowImage.Exif()
    stamp = frame.time.strftime("%Y:%m:%d %H:%M:%S")
    offset = frame.time.strftime("%z")
    exif[Base.Make], exif[Base.Model], exif[Base.Orientation], exif[Base.DateTime] = MAKE, MODEL, 1, stamp
    shutter, f_number = frame.setting.shutter_s, frame.setting.f_number
    details = exif.get_ifd(IFD.Exif)
    details[Base.ExifVersion] = b"0232"
    details[Base.ExposureTime] = IFDRational(shutter.numerator, shutter.denominator)
    details[Base.FNumber] = IFDRational(f_number.numerator, f_number.denominator)
    details[Base.ISOSpeedRatings] = frame.setting.iso
    details[Base.DateTimeOriginal] = stamp
    details[Base.SubsecTimeOriginal] = f"{frame.time.microsecond // 10_000:02d}"
    details[Base.OffsetTimeOriginal] = f"{offset[:3]}:{offset[3:]}"
    details[Base.FocalLength] = IFDRational(int(FOCAL_MM), 1)
    details[Base.FocalLengthIn35mmFilm] = int(FOCAL_MM)
    details[Base.BodySerialNumber] = SERIAL
    details[Base.LensModel] = LENS
    return exif


def jpeg_of(codes: Codes, frame: PlannedFrame) -> bytes:
    """The finished JPEG file with EXIF, 4:2:0."""
    buffer = io.BytesIO()
    PillowImage.fromarray(codes).save(
        buffer, "JPEG", quality=JPEG_QUALITY, subsampling="4:2:0", optimize=True, exif=exif_of(frame)
    )
    return buffer.getvalue()
