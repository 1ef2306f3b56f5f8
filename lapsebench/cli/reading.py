"""What reads the value of an option, and says in words what it is not."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from fractions import Fraction
from typing import TypeVar

Value = TypeVar("Value")
Number = TypeVar("Number", int, float, Fraction)


def told(read: Callable[[str], Value], what: str) -> Callable[[str], Value]:
    """Return `read` for argparse: where it raises ValueError, the user is told that the text is no `what`."""

    def value(text: str) -> Value:
        try:
            return read(text)
        except ValueError:
            raise argparse.ArgumentTypeError(f"{text!r} is no {what}") from None

    return value


def number(read: Callable[[str], Number], least: int | float, most: int | float, what: str) -> Callable[[str], Number]:
    """Return what reads a number from `least` to `most`, both included; `what` names it without its range."""
    return told(lambda text: within(read(text), least, most), what)


def within(value: Number, least: int | float, most: int | float) -> Number:
    """Return `value`; ValueError where it is not from `least` to `most`."""
    if not least <= value <= most:
        raise ValueError(value)
    return value
