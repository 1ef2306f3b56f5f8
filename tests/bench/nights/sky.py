"""The sky of a made-up night in linear light: airglow, turning stars, curtains, patches, clouds, Moon, twilight."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from nights.waves import Floats, Image, Random, Waves, random_field, random_waves, shifted

HEIGHT, WIDTH = 192, 288
"""Pixels of a picture."""
AIRGLOW = 2.0**-9
"""Linear light of a dark sky at a camera exposure of 0 stops; white is 1."""
_AIRGLOW_RGB = np.array([0.9, 1.0, 0.95], np.float32)
_GREEN_RGB = np.array([0.25, 1.0, 0.38], np.float32)
_RED_RGB = np.array([0.9, 0.25, 0.5], np.float32)
_TWILIGHT_RGB = np.array([0.75, 0.95, 1.3], np.float32)
_MOON_RGB = np.array([1.0, 0.97, 0.9], np.float32)
_SIDEREAL = 2 * np.pi / 86164.09  # radians a second
TWINKLING_EV = 0.04
"""Sd of a star's light from frame to frame, stops."""
_OPEN_S = 1.6  # seconds that a pulsation is averaged over: the exposures that such a sky is shot with
_Y, _X = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.float32)
_UP = 1 - _Y / HEIGHT  # 0 at the foot of the picture, 1 at its top


@dataclass(frozen=True, slots=True)
class Curtain:
    """One curtain: the waves of its lower `border` (shares of the height), of its `rays`, its mean `foot` and `reach`."""

    border: Waves
    rays: Waves
    foot: float
    reach: float
    share: float


@dataclass(frozen=True, slots=True)
class Patches:
    """Pulsating patches: centres `x`, `y` and `radius` in px, `period_s`, `phase` (radians), `height` over the airglow."""

    x: Floats
    y: Floats
    radius: Floats
    period_s: Floats
    phase: Floats
    height: Floats

    def shape(self, k: int) -> Image:
        """Return where patch `k` is, (h, w), 0..1."""
        square = (_X - self.x[k]) ** 2 + (_Y - self.y[k]) ** 2
        return np.asarray(np.exp(-((square / self.radius[k] ** 2) ** 2)), np.float32)

    def brightness(self, time_s: float) -> Floats:
        """Return the light of every patch, (k,), in airglows, averaged over the time the shutter is open."""
        moments = time_s + np.linspace(-0.5, 0.5, 5)[:, None] * _OPEN_S
        waves = np.sin(2 * np.pi * moments / self.period_s + self.phase)
        return np.asarray(self.height * (0.5 + 0.5 * np.tanh(2.5 * waves) / np.tanh(2.5)).mean(axis=0))


@dataclass(frozen=True, slots=True)
class Stars:
    """Stars that turn about `pole` (x, y in px): `radius` (px), `angle` (radians) and linear `light` summed up, all (k,).

    `size`: height and width of the picture, px.
    """

    pole: tuple[float, float]
    radius: Floats
    angle: Floats
    light: Floats
    scintillation: Random
    size: tuple[int, int] = (HEIGHT, WIDTH)

    def drawn(self, time_s: float) -> Image:
        """Return their light, (h, w), each star spread over the four px it falls on."""
        x, y, seen = self.places(time_s)
        light = self.light[seen] * np.exp2(self.scintillation.normal(0, TWINKLING_EV, seen.sum()))
        return spread(x[seen], y[seen], light, self.size)

    def places(self, time_s: float) -> tuple[Floats, Floats, NDArray[np.bool_]]:
        """Return where they are, x and y in px, and which of them are in the picture, all (k,)."""
        turned = self.angle + _SIDEREAL * time_s
        x, y = self.pole[0] + self.radius * np.cos(turned), self.pole[1] + self.radius * np.sin(turned)
        return x, y, (x >= 0) & (x < self.size[1] - 1) & (y >= 0) & (y < self.size[0] - 1)


def spread(x: Floats, y: Floats, light: Floats, size: tuple[int, int]) -> Image:
    """Return the light of points, all (k,), spread over the four px each falls on, (h, w) = `size`."""
    left, top = x.astype(int), y.astype(int)
    drawn = np.zeros(size)
    for right in (0, 1):
        for down in (0, 1):
            part = np.abs(1 - right - (x - left)) * np.abs(1 - down - (y - top))
            np.add.at(drawn, (top + down, left + right), light * part)
    return drawn.astype(np.float32)


@dataclass(frozen=True, slots=True)
class Sky:
    """What is in the sky of n frames at `times_s`, (n,) seconds.

    `aurora`: (n,) light of the curtains and the glow between them, in airglows. `glow`: share of it that is spread all over
    the sky. `airglow`: (n,), 1 as usual. `twilight`: (n,), in airglows. `moon`: (n,) 0 below the horizon .. 1 high; its
    light when high is `moonlight` airglows. `clouds`: a field of opacity up to `cover`, blown by `wind` px a second.
    """

    times_s: Floats
    airglow: Floats
    aurora: Floats
    twilight: Floats
    moon: Floats
    stars: Stars
    curtains: tuple[Curtain, ...] = ()
    patches: Patches | None = None
    clouds: Image | None = None
    glow: float = 0.25
    moonlight: float = 8.0
    wind: float = 0.0
    cover: float = 0.8

    def drawn(self, i: int, *, stars: bool = True) -> Image:
        """Return the linear light of frame `i`, (h, w, 3), at a camera exposure of 0 stops."""
        t = float(self.times_s[i])
        light = _AIRGLOW_RGB * (self.airglow[i] * (1 + 0.5 * (1 - _UP)))[..., None]
        light = light + (self.stars.drawn(t)[..., None] / np.float32(AIRGLOW) if stars else 0)
        light += self.aurora[i] * self._aurora(t)
        if self.patches is not None:
            light += _patches(self.patches, t)[..., None] * _GREEN_RGB
        if self.clouds is not None:
            light = _clouded(light, shifted(self.clouds, self.wind * t, WIDTH), self.cover)
        light += self.twilight[i] * (0.4 + np.exp(-2.5 * _UP))[..., None] * _TWILIGHT_RGB
        if self.moon[i] > 0:
            light += self._moon(float(self.moon[i]))
        return np.asarray(light * np.float32(AIRGLOW), np.float32)

    def _aurora(self, t: float) -> Image:
        """Return curtains and glow of a mean light of about 1, (h, w, 3)."""
        total = np.full((HEIGHT, WIDTH, 3), self.glow, np.float32) * _GREEN_RGB
        for curtain in self.curtains:
            total += _curtain(curtain, t) * np.float32(3.5 * (1 - self.glow) * curtain.share)
        return total

    def _moon(self, high: float) -> Image:
        """Return the Moon, its glare and the sky it lights, (h, w, 3), in airglows."""
        x, y = 0.7 * WIDTH - 40 * high, HEIGHT * (0.8 - 0.6 * high)
        far = np.hypot(_X - x, _Y - y)
        disc = 4000.0 * (far < 2.2)
        lit = self.moonlight * high**1.5 * (0.5 + 1.5 * np.exp(-far / 70))
        glare = 40 * high * np.exp(-far / 4)
        return np.asarray((disc * min(1.0, 20 * high) + lit + glare)[..., None] * _MOON_RGB, np.float32)


def _curtain(curtain: Curtain, t: float) -> Image:
    """Return one curtain, (h, w, 3), about 1 at its brightest: sharp below, fading upwards, red on top."""
    place = np.linspace(0, 1, WIDTH)
    above = _UP - (curtain.foot + curtain.border.at(place, t)).astype(np.float32)
    rays = np.exp2(curtain.rays.at(place, t)).astype(np.float32)
    body = np.exp(-np.abs(above) / np.where(above < 0, np.float32(0.012), np.float32(curtain.reach)))
    red = np.float32(0.25) * np.clip(above / np.float32(3 * curtain.reach), 0, 1)
    lit: Image = (body * rays)[..., None] * (_GREEN_RGB + red[..., None] * _RED_RGB)
    return lit


def _clouded(light: Image, clouds: Image, cover: float) -> Image:
    """Return `light` (h, w, 3) behind `clouds` (h, w), which the sky and the lamps of a far town light, in airglows."""
    opacity = np.float32(cover) / (1 + np.exp(-2.5 * clouds[..., None]))
    lit = np.float32(0.55) * light.mean(axis=(0, 1)) + np.array([0.5, 0.4, 0.25], np.float32)
    mixed: Image = light * (1 - opacity) + lit * opacity
    return mixed


def _patches(patches: Patches, t: float) -> Image:
    light = np.zeros((HEIGHT, WIDTH), np.float32)
    for k, height in enumerate(patches.brightness(t)):
        light += np.float32(height) * patches.shape(k)
    return light


def random_curtain(random: Random, *, lively: float, share: float) -> Curtain:
    """Return a curtain anywhere in the sky; `lively` 0 (a quiet arc) .. 1 (a break-up) sets how it folds and runs."""
    border = random_waves(random, 5, numbers=(0.5, 2 + 6 * lively), speed=0.002 + 0.04 * lively, height=0.02 + 0.07 * lively)
    rays = random_waves(random, 9, numbers=(3, 30), speed=0.01 + 0.3 * lively, height=0.1 + 0.5 * lively)
    return Curtain(border, rays, random.uniform(0.4, 0.7), random.uniform(0.07, 0.22), share)


def random_patches(random: Random, count: int = 16) -> Patches:
    """Return patches of 2 to 20 s period, up to about two stops over the sky."""
    return Patches(
        x=random.uniform(0, WIDTH, count),
        y=random.uniform(0, 0.7 * HEIGHT, count),
        radius=random.uniform(14, 34, count),
        period_s=np.exp2(random.uniform(1, np.log2(20), count)),
        phase=random.uniform(0, 2 * np.pi, count),
        height=random.uniform(0.7, 3.0, count),
    )


def random_stars(random: Random, count: int = 500) -> Stars:
    """Return stars about a pole above the picture, the brightest some hundred times the airglow of a px."""
    light = AIRGLOW * 4 * random.pareto(1.1, count).clip(0.1, 60)
    area = random.uniform(0, 1, count)
    pole = (WIDTH * random.uniform(0.2, 0.8), -0.2 * HEIGHT)
    return Stars(pole, 1.3 * WIDTH * np.sqrt(area), random.uniform(0, 2 * np.pi, count), light, random)


def random_clouds(random: Random) -> Image:
    """Return a field of clouds, (h, 4 w)."""
    wide = cv2.resize(random_field(random, (HEIGHT // 4, WIDTH), 5.0), (4 * WIDTH, HEIGHT), interpolation=cv2.INTER_CUBIC)
    return wide.astype(np.float32)
