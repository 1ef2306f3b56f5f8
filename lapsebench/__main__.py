"""Entry point: a known command goes to the command line, everything else to the window."""

from __future__ import annotations

import sys
from collections.abc import Sequence


def main(argv: Sequence[str] | None = None) -> int:
    """Run the program and return its exit code: 0 done, 1 failed, 2 wrong usage, 130 cancelled."""
    try:
        from lapsebench.cli.main import run  # noqa: PLC0415  (a missing system library must end in one clear line)
    except ImportError as error:
        if "shared object" not in str(error):
            raise
        return _missing_library(error)
    return run(sys.argv[1:] if argv is None else list(argv), open_window=_open_window)


def _open_window(paths: Sequence[str], demo: bool) -> int:
    from lapsebench.gui.launch import launch  # noqa: PLC0415  (the command line works without Qt)

    return launch(paths, demo=demo)


def _missing_library(error: ImportError) -> int:
    """Say which packages to install where a codec's system library is missing."""
    from lapsebench.gui.launch import PACKAGES  # noqa: PLC0415

    print(f"lapsebench: a system library is missing: {error}. On Debian or Ubuntu: apt install {PACKAGES}", file=sys.stderr)
    return 1


if __name__ == "__main__":
    sys.exit(main())
