"""Makes small picture files of every kind that is read, with the tags cameras write, and damages them at random."""

from __future__ import annotations

import random
import struct
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
from dng import Sensor, record, write_dng
from numpy.typing import NDArray
from PIL import Image

from lapsebench.core.transfer import srgb_to_linear

TAKEN = "2026:02:11 21:04:10"


def scene(height: int = 96, width: int = 144, seed: int = 4) -> NDArray[np.uint8]:
    """Return a noisy night sky over dark ground, (h, w, 3)."""
    noise = np.random.default_rng(seed).normal(0, 4, (height, width, 3))
    y, x = np.mgrid[0:height, 0:width]
    sky = np.stack([20 + 30 * y / height, 40 + 60 * x / width, 30 + 20 * y / height], axis=2) + noise
    sky[height * 2 // 3 :] = noise[height * 2 // 3 :] + 3
    return np.clip(sky, 0, 255).astype(np.uint8)


def exif_block(tags: dict[int, Any] | None = None, *, orientation: int = 1, thumbnail: bytes = b"") -> bytes:
    """Return an Exif block from its byte order mark on: camera, exposure and time, `tags` of the Exif directory besides."""
    exif = Image.Exif()
    exif.update({0x010F: "Velmar", 0x0110: "Velmar N2", 0x0112: orientation})
    detail = {0x829A: 8.0, 0x829D: 2.8, 0x8827: 1600, 0x9003: TAKEN, 0x9291: "25", 0x9011: "+01:00", 0x920A: 14.0}
    exif.get_ifd(0x8769).update(detail | {0xA431: "N2-00417", 0xA434: "Velmar 14 mm f/1.8"} | (tags or {}))
    block = exif.tobytes().removeprefix(b"Exif\0\0")
    return with_thumbnail(block, thumbnail) if thumbnail else block


def with_thumbnail(block: bytes, thumbnail: bytes) -> bytes:
    """Return an Exif block with a second directory that holds a JPEG."""
    order = "<" if block[:2] == b"II" else ">"
    (first,) = struct.unpack_from(order + "I", block, 4)
    (count,) = struct.unpack_from(order + "H", block, first)
    changed, place = bytearray(block), len(block)
    struct.pack_into(order + "I", changed, first + 2 + 12 * count, place)
    start = place + 2 + 3 * 12 + 4
    entries = ((0x0103, 3, 6), (0x0201, 4, start), (0x0202, 4, len(thumbnail)))
    table = struct.pack(order + "H", len(entries))
    for tag, kind, value in entries:
        table += struct.pack(order + "HHI", tag, kind, 1) + struct.pack(
            order + ("HH" if kind == 3 else "I"), *((value, 0) if kind == 3 else (value,))
        )
    return bytes(changed) + table + bytes(4) + thumbnail


def saved(codes: NDArray[np.uint8], form: str, exif: bytes = b"", **options: Any) -> bytes:
    """Return a picture file of one of Pillow's formats."""
    store = BytesIO()
    options |= {"exif": b"Exif\0\0" + exif} if exif else {}
    Image.fromarray(codes).save(store, form, **options)
    return store.getvalue()


def heic(codes: NDArray[Any], exif: bytes = b"", **options: Any) -> bytes:
    """Return a HEIC of (h, w, 3) codes, uint8, or uint16 for 12 bits (10 with pillow-heif's option)."""
    height, width = codes.shape[:2]
    mode = "RGB" if codes.dtype == np.uint8 else "RGB;16"
    still = pillow_heif.from_bytes(mode=mode, size=(width, height), data=codes.tobytes())
    store = BytesIO()
    still.save(store, exif=exif or None, **options)
    return store.getvalue()


def _box(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I4s", 8 + len(body), kind) + body


def cr3(main: bytes, detail: bytes, trailing: bytes = bytes(64)) -> bytes:
    """Return what a CR3's boxes of tags look like; there is no picture in it that LibRaw could decode."""
    uuid = bytes.fromhex("85c0b687820f11e08111f4ce462b6a48")
    movie = _box(b"uuid", uuid + _box(b"CNCV", bytes(30)) + _box(b"CMT1", main) + _box(b"CMT2", detail))
    return _box(b"ftyp", b"crx \0\0\0\1crx isom") + _box(b"moov", movie) + _box(b"mdat", trailing)


def raf(jpeg: bytes) -> bytes:
    """Return what a RAF looks like that carries a JPEG."""
    head = b"FUJIFILMCCD-RAW 0201FF392201Velmar N2".ljust(84, b"\0")
    return head + struct.pack(">6I", 148, len(jpeg), 0, 0, 0, 0) + bytes(40) + jpeg


def mrw(block: bytes) -> bytes:
    """Return what an MRW looks like whose tags are in a block of their own."""
    parts = b"\0PRD" + struct.pack(">I", 24) + bytes(24) + b"\0TTW" + struct.pack(">I", len(block)) + block
    return b"\0MRM" + struct.pack(">I", len(parts)) + parts


def dng(folder: Path, preview: bytes = b"", **options: Any) -> bytes:
    """Return a DNG of the night sky."""
    codes = record(srgb_to_linear(scene() / 255), Sensor(), random=np.random.default_rng(1))
    return write_dng(folder / "made.dng", codes, preview=preview, **options).read_bytes()


def full_colour_dng(folder: Path, *, colours: bool) -> bytes:
    """Return a DNG whose pixels have all colours, or none."""
    light = srgb_to_linear(scene() / 255)
    codes = np.rint(512 + 15000 * (light if colours else light[..., 1])).astype(np.uint16)
    return write_dng(folder / "made.dng", codes, colours=colours).read_bytes()


def made_files(folder: Path) -> dict[str, bytes]:
    """Return name -> content of one good file of each kind."""
    sky, exif = scene(), exif_block()
    jpeg = saved(sky, "JPEG", exif_block(thumbnail=saved(scene(40, 60), "JPEG")), quality=90)
    return {
        "plain.jpg": jpeg,
        "passes.jpg": saved(sky, "JPEG", exif, quality=90, progressive=True),
        "restarts.jpg": saved(sky, "JPEG", exif, quality=90, restart_marker_blocks=3),
        "plain.png": saved(sky, "PNG", exif),
        "plain.tif": saved(sky, "TIFF", exif),
        "packed.tif": saved(sky, "TIFF", compression="tiff_lzw"),
        "plain.heic": heic(sky, exif),
        "deep.heic": heic(sky.astype(np.uint16) << 8, exif),
        "plain.dng": dng(folder),
        "preview.dng": dng(folder, preview=jpeg),
        "linear.dng": full_colour_dng(folder, colours=True),
        "grey.dng": full_colour_dng(folder, colours=False),
        "made.cr3": cr3(exif, exif),
        "made.raf": raf(jpeg),
        "made.mrw": mrw(exif),
        "made.nef": dng(folder),
        "made.crw": b"II\x1a\0\0\0HEAPCCDR" + bytes(range(200)),
    }


def _cut(data: bytearray, chance: random.Random) -> bytearray:
    return data[: chance.randrange(len(data) + 1)]


def _flip(data: bytearray, chance: random.Random, first: float = 1.0) -> bytearray:
    for _ in range(chance.choice((1, 3, 20))):
        data[chance.randrange(max(int(first * len(data)), 1))] ^= 1 << chance.randrange(8)
    return data


def _flip_header(data: bytearray, chance: random.Random) -> bytearray:
    return _flip(data, chance, min(600 / len(data), 1.0))


def _overwrite(data: bytearray, chance: random.Random) -> bytearray:
    at = chance.randrange(len(data))
    length = chance.choice((2, 4, 16, 512))
    filler = chance.choice((bytes(length), b"\xff" * length, chance.randbytes(length)))
    data[at : at + length] = filler[: len(data) - at]
    return data


def _huge_number(data: bytearray, chance: random.Random) -> bytearray:
    at = chance.randrange(min(len(data), 1500))
    number = chance.choice((b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff", b"\0\0\0\0", b"\xea\x60\xea\x60"))
    data[at : at + 4] = number[: len(data) - at]
    return data


def _drop(data: bytearray, chance: random.Random) -> bytearray:
    at = chance.randrange(len(data))
    del data[at : at + chance.choice((1, 7, 300))]
    return data


def _repeat(data: bytearray, chance: random.Random) -> bytearray:
    at = chance.randrange(len(data))
    return data[:at] + data[max(at - chance.choice((5, 400)), 0) :]


_WAYS: tuple[Callable[[bytearray, random.Random], bytearray], ...] = (
    *(_cut, _flip, _flip_header, _flip_header, _overwrite, _huge_number, _drop, _repeat),
)


def damaged(data: bytes, seed: int) -> bytes:
    """Return a file's bytes, damaged in one or two ways; the same for the same seed."""
    chance = random.Random(seed)
    result = bytearray(data)
    for _ in range(chance.choice((1, 1, 2))):
        if result:
            result = chance.choice(_WAYS)(result, chance)
    return bytes(result)
