"""The option that sets the white balance of RAW shots, which several commands take."""

from __future__ import annotations

import argparse
from dataclasses import replace

from lapsebench.cli.progressline import say
from lapsebench.core.balance import COLDEST_K, HOTTEST_K, MOST_TINT, Balance, BalanceKind
from lapsebench.core.project import Project
from lapsebench.services.balances import balanced


def balance_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the option."""
    parser.add_argument(
        "--balance",
        type=_balance,
        metavar="as-shot|daylight|KELVIN[,TINT]",
        help="white balance of RAW shots: that of each shot's first frame (as-shot), daylight, or a light such as 3800",
    )


def with_balances(project: Project, options: argparse.Namespace) -> Project:
    """Return the project with the white balance that the command line sets for every RAW shot."""
    if options.balance is None:
        return project
    if not any(frame.balance is not None for frame in project.frames):
        say("--balance sets the white balance of RAW; no frame here is RAW.")
    return balanced(replace(project, shots=tuple(replace(shot, balance=options.balance) for shot in project.shots)))


def _balance(text: str) -> Balance:
    if text in ("as-shot", "daylight"):
        return Balance(BalanceKind.AS_SHOT if text == "as-shot" else BalanceKind.DAYLIGHT)
    kelvin, _, tint = text.partition(",")
    try:
        balance = Balance(BalanceKind.CUSTOM, temperature_k=float(kelvin), tint=float(tint or 0))
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is none of as-shot, daylight, 3800 or 3800,5") from None
    if not (COLDEST_K <= balance.temperature_k <= HOTTEST_K and abs(balance.tint) <= MOST_TINT):
        limits = f"{COLDEST_K:.0f} to {HOTTEST_K:.0f} K, and a tint of up to {MOST_TINT:.0f} either way"
        raise argparse.ArgumentTypeError(f"{text!r} is out of range: {limits}")
    return balance
