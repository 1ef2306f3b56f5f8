"""The command line: picks the command, and turns errors into one clear line and an exit code."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from pathlib import Path

from lapsebench import __version__
from lapsebench.cli import film, flash, survey
from lapsebench.cli.progressline import Stop, say
from lapsebench.errors import Cancelled, EncoderError, LapsebenchError, NoScreenError
from lapsebench.io.bundled import demo_folder
from lapsebench.io.unfinished import sweep

OpenWindow = Callable[[Sequence[str], bool], int]

DONE, FAILED, CANCELLED = 0, 1, 130  # argparse itself ends wrong usage with 2
_COMMANDS: dict[str, tuple[Callable[[argparse.ArgumentParser], None], Callable[[argparse.Namespace], None], str]] = {
    "survey": (survey.arguments, survey.run, survey.__doc__ or ""),
    "film": (film.arguments, film.run, film.__doc__ or ""),
    "flash": (flash.arguments, flash.run, flash.__doc__ or ""),
}
_WINDOW_HELP = """\
commands:
  lapsebench [FOLDER or PROJECT]   opens the window
  lapsebench survey FOLDER...      reads, measures and reports; writes no film
  lapsebench film FOLDER -o FILE   makes the film
  lapsebench flash FILE            looks for flashes in any film

lapsebench COMMAND --help tells the options of a command."""


def run(argv: list[str], *, open_window: OpenWindow) -> int:
    """Run the command in `argv` and return the exit code; `open_window` opens the window on paths."""
    try:
        with Stop():
            sweep()
            if argv and argv[0] in _COMMANDS:
                return _run_command(argv[0], argv[1:])
            return _window(argv, open_window)
    except (Cancelled, KeyboardInterrupt):
        say("Cancelled; nothing was left behind.")
        return CANCELLED
    except EncoderError as error:
        say(f"lapsebench: {error}" + (f"\n{error.log}" if error.log else ""))
        return FAILED
    except LapsebenchError as error:
        say(f"lapsebench: {error}")
        return FAILED


def _run_command(name: str, argv: list[str]) -> int:
    arguments, command, help_text = _COMMANDS[name]
    parser = argparse.ArgumentParser(prog=f"lapsebench {name}", description=help_text.splitlines()[0])
    arguments(parser)
    command(parser.parse_args(argv))
    return DONE


def _window(argv: list[str], open_window: OpenWindow) -> int:
    parser = argparse.ArgumentParser(
        prog="lapsebench",
        description="Turns a night of northern-lights stills into steady, living film.",
        epilog=_WINDOW_HELP,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("paths", nargs="*", metavar="FOLDER", help="a folder of frames, or a project file")
    parser.add_argument("--demo", action="store_true", help="open the demo night (without a screen: make its film)")
    parser.add_argument("--version", action="version", version=f"lapsebench {__version__}")
    options = parser.parse_args(argv)
    try:
        return open_window(options.paths, options.demo)
    except NoScreenError as error:
        if not options.demo:
            raise
        say(f"lapsebench: {error}")
        say("Making the demo film instead.")
        film.make_demo(demo_folder(), Path.cwd())
        return DONE
