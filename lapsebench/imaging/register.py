"""Registers small pictures of neighbouring frames: where the detail that stands still is found again, and how sharp.

Block matching by normalised cross-correlation, found through the Fourier transform, on detail: the logarithm of codes less
its local mean, so that neither exposure nor a sky that brightens moves anything. Blocks whose detail is the same and at the
same place in the frames before and after stand still: ground, buildings, the horizon. Only these are looked for in between.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import fft

from lapsebench.core.bumps import Match

Image = NDArray[np.float32]
Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_PER_WIDTH = 12  # blocks across the longer side
_LEAST_SIDE, _MOST_SIDE = 32, 96  # px
_LOCAL = 25  # px, side of the local mean
_DARK_CODES = 4.0  # added before the logarithm: coding noise of dark codes is no detail
_ALIKE = 0.6  # correlation of the frames before and after in a block that stands still
_NEARLY_ALIKE = 0.4  # the same in place, up to the drift that still counts as standing still
_STILL = 0.0012  # of the longer side: a block farther off than that does not stand still
_COARSE = 4  # the search over the whole picture is at this fraction of its size
_FINE, _BROAD = (0.14, 0.35), (0.02, 0.09)  # cycles a px, bands of fine and broad detail


def detail_of(codes: NDArray[Any]) -> Image:
    """Return the detail of 8-bit grey `codes` (h, w): log2 of the codes less its local mean, stops of code."""
    log = np.log2(codes.astype(np.float32) + np.float32(_DARK_CODES))
    return np.asarray(log - cv2.blur(log, (_LOCAL, _LOCAL)), np.float32)


def detail_of_jpeg(jpeg: bytes) -> Image | None:
    """Return the detail of a JPEG's grey codes, (h, w); None if it can't be decoded."""
    codes: Any = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_GRAYSCALE) if jpeg else None
    return None if codes is None else detail_of(codes)


def match(before: Image, frame: Image, after: Image) -> Match:
    """Return how the frame's still detail lies against that of the frames before and after it, all (h, w) of `detail_of`."""
    side, corners = _blocks(*before.shape)
    reference, later = _cut(before, corners, side), _cut(after, corners, side)
    near = shifts(reference, later, reach=0)[1] > _NEARLY_ALIKE
    if not near.any():
        return Match.none()
    reference, later, corners = reference[near], later[near], corners[near]
    drift, alike = shifts(reference, later)
    still = (alike > _ALIKE) & (np.hypot(*drift.T) < max(_STILL * max(before.shape), 0.5))
    long = float(max(before.shape))
    if not still.any():
        return Match.none()
    reference, later, corners, drift = reference[still], later[still], corners[still], drift[still]
    energy = np.sqrt(np.einsum("kij,kij->k", reference, reference) * alike[still])
    _, in_place = shifts(reference, _cut(frame, corners, side), reach=0)
    coarse = _coarse_shift(before, frame, corners, side)
    moved, found = _found(reference, frame, corners, side, np.zeros((corners.shape[0], 2), np.intp))
    if np.abs(coarse).max() > 0:
        other, other_found = _found(reference, frame, corners, side, np.tile(coarse, (corners.shape[0], 1)))
        if energy @ other_found > energy @ found:
            moved, found = other, other_found
    whole = np.rint(moved).astype(np.intp)
    sharp = _sharpness(reference, (_cut(frame, corners + whole, side), moved - whole), (later, drift))
    return Match((moved - drift / 2) / long, found, in_place, energy, sharp)


def shifts(reference: Image, moved: Image, *, reach: int | None = None) -> tuple[Floats, Floats]:
    """Return for k pairs of blocks (k, side, side) by how many px (down, right) the second lies off, and how alike they are.

    (k, 2) to a fraction of a px, and (k,), the normalised correlation -1..1 there. `reach`: the farthest looked for, px; a
    third of the side by default; 0 tells how alike they are in place.
    """
    side = reference.shape[1]
    window = _window(side)
    a, b = _windowed(reference, window), _windowed(moved, window)
    norm = np.sqrt(np.einsum("kij,kij->k", a, a) * np.einsum("kij,kij->k", b, b)) + 1e-6
    if reach == 0:
        return np.zeros((a.shape[0], 2)), np.asarray(np.einsum("kij,kij->k", a, b) / norm, float)
    surface = fft.irfft2(fft.rfft2(b) * np.conj(fft.rfft2(a)), s=(side, side))
    far = side // 3 if reach is None else reach
    near = slice(side // 2 - far, side // 2 + far + 1)
    surface = fft.fftshift(surface, axes=(1, 2))[:, near, near]
    places = surface.reshape(a.shape[0], -1).argmax(axis=1)
    row, column = np.divmod(places, 2 * far + 1)
    best = np.take_along_axis(surface.reshape(a.shape[0], -1), places[:, None], axis=1)[:, 0]
    off = np.stack([row - far + _between(surface, row, column, 0), column - far + _between(surface, row, column, 1)], axis=1)
    return off, np.asarray(best / norm, float)


def _between(surface: Image, row: Ints, column: Ints, axis: int) -> Floats:
    """Return where between the px the peak lies, -0.5..0.5: the top of a parabola through it and its two neighbours."""
    last, k = surface.shape[1] - 1, np.arange(row.size)
    step = (1, 0) if axis == 0 else (0, 1)
    low = surface[k, np.maximum(row - step[0], 0), np.maximum(column - step[1], 0)]
    high = surface[k, np.minimum(row + step[0], last), np.minimum(column + step[1], last)]
    curve = low + high - 2 * surface[k, row, column]
    return np.clip(np.where(curve < 0, (low - high) / (2 * np.minimum(curve, -1e-12)), 0.0), -0.5, 0.5)


def _found(reference: Image, frame: Image, corners: Ints, side: int, start: Ints) -> tuple[Floats, Floats]:
    """Return where blocks are found about `start` (k, 2), px, looked for twice: the second time where the first pointed."""
    for _ in range(2):
        looked = start
        at = np.stack([np.clip(corners[:, c] + start[:, c], 0, frame.shape[c] - side) for c in (0, 1)], axis=1)
        off, alike = shifts(reference, _cut(frame, at, side))
        moved = at - corners + off
        start = np.rint(moved).astype(np.intp)
        if (start == looked).all():
            break
    return moved, alike


def _coarse_shift(before: Image, frame: Image, corners: Ints, side: int) -> Ints:
    """Return the whole px (down, right) by which the still blocks of `before` are found off in `frame`, roughly."""
    mask = np.zeros(before.shape, np.float32)
    for top, left in corners:
        mask[top : top + side, left : left + side] = 1
    size = before.shape[1] // _COARSE, before.shape[0] // _COARSE
    a, b = (cv2.resize(image, size, interpolation=cv2.INTER_AREA) for image in (before * mask, frame))
    surface = fft.irfft2(fft.rfft2(b) * np.conj(fft.rfft2(a)), s=a.shape)
    peak = np.unravel_index(int(surface.argmax()), surface.shape)
    signed = [int(p) - n if p > n // 2 else int(p) for p, n in zip(peak, surface.shape, strict=True)]
    return np.array(signed, np.intp) * _COARSE


def _sharpness(before: Image, frame: tuple[Image, Floats], after: tuple[Image, Floats]) -> Floats:
    """Return how much of the fine detail is left in the blocks of `frame`, (k,), by how much of the broad detail is.

    1 is as around it. Blocks come with the px (k, 2) by which they still lie off. Measured on what the frame shares with
    its neighbours, against what those share: noise is no detail.
    """
    side = before.shape[1]
    down, right = fft.fftfreq(side)[:, None], fft.rfftfreq(side)[None]

    def spectrum(blocks: Image, off: Floats) -> NDArray[Any]:
        turn = np.exp(2j * np.pi * (down * off[:, 0, None, None] + right * off[:, 1, None, None])).astype(np.complex64)
        return np.asarray(fft.rfft2(_windowed(blocks, _window(side))) * turn)

    a, b, c = spectrum(before, np.zeros((before.shape[0], 2))), spectrum(*frame), spectrum(*after)
    cycles = np.hypot(down, right)
    left = []
    for low, high in (_FINE, _BROAD):
        band = (cycles >= low) & (cycles <= high)
        shared = np.real(a * np.conj(c))[:, band].sum(axis=1)
        left.append(np.real((a + c) / 2 * np.conj(b))[:, band].sum(axis=1) / np.maximum(shared, 1e-6))
    return np.asarray(left[0] / np.maximum(left[1], 0.1), float)


def _blocks(height: int, width: int) -> tuple[int, Ints]:
    """Return the side of the blocks, px, and their upper left corners (k, 2)."""
    side = min(max(max(height, width) // _PER_WIDTH // 2 * 2, _LEAST_SIDE), _MOST_SIDE, height, width)
    tops, lefts = (np.arange(0, length - side + 1, side) for length in (height, width))
    return side, np.stack(np.meshgrid(tops, lefts, indexing="ij"), axis=-1).reshape(-1, 2)


def _cut(image: Image, corners: Ints, side: int) -> Image:
    top, left = (np.clip(corners[:, c], 0, image.shape[c] - side) for c in (0, 1))
    reach = np.arange(side)
    return np.asarray(image[(top[:, None] + reach)[:, :, None], (left[:, None] + reach)[:, None, :]])


def _windowed(blocks: Image, window: Image) -> Image:
    return np.asarray((blocks - blocks.mean(axis=(1, 2), keepdims=True)) * window)


@lru_cache(maxsize=4)
def _window(side: int) -> Image:
    hann = np.hanning(side + 2)[1:-1]
    return np.outer(hann, hann).astype(np.float32)
