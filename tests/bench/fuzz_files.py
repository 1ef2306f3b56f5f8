"""Reads thousands of damaged picture files, each in a process with a time limit: all must end in a frame or in a reason.

    python tests/bench/fuzz_files.py [--count 2000] [--seed 1] [--keep FOLDER]

Made files of every kind are damaged at random, and the real ones beside the project where they are there. A traceback, a
death of the process and a file that takes too long are failures; `--keep` saves those files.
"""

from __future__ import annotations

import argparse
import multiprocessing
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import NamedTuple

from made_files import damaged, made_files

LONGEST_S = 10.0
_LARGEST_REAL = 300_000  # bytes: larger real files would take most of the time
_REAL = Path(__file__).resolve().parents[2].parent / "shared" / "data"


class Outcome(NamedTuple):
    """How one file ended: `failure` is empty, or what went wrong; `kind` tells what else became of it."""

    name: str
    kind: str
    failure: str
    seconds: float
    content: bytes


def look_at(path: Path) -> str:
    """Read a file in all ways the program does and return what became of it; lets everything but FrameError through."""
    from lapsebench.errors import FrameError  # noqa: PLC0415 - only the reading process needs the codecs
    from lapsebench.io.embedded import embedded_preview  # noqa: PLC0415
    from lapsebench.io.kinds import is_raw  # noqa: PLC0415
    from lapsebench.io.metadata import read_metadata  # noqa: PLC0415
    from lapsebench.io.raw import read_raw  # noqa: PLC0415
    from lapsebench.io.read import read_picture  # noqa: PLC0415

    frame = read_metadata(path)
    if not frame.readable and not frame.problem:
        raise AssertionError("a flagged frame without a reason")
    embedded_preview(path)
    try:
        size = read_raw(path).codes.shape if is_raw(path) else read_picture(path).codes.shape
    except FrameError as error:
        if not error.what or not error.remedy:
            raise AssertionError("a refusal without words") from error
        return "refused" if frame.readable else "flagged"
    if frame.readable and size[:2] != (frame.height, frame.width):
        raise AssertionError(f"decoded to {size}, the frame says {frame.height} x {frame.width}")
    return "read" if frame.readable else "read, but flagged"


def _serve(pipe: Connection) -> None:
    while path := pipe.recv():
        try:
            pipe.send((look_at(path), ""))
        except Exception as error:  # whatever it is, it is what we look for
            pipe.send(("", f"{type(error).__name__}: {error}"))


class _Reader:
    """A process that reads files one after another, started anew where a file kills it or holds it up."""

    def __init__(self) -> None:
        self._process: BaseProcess | None = None

    def _start(self) -> None:
        context = multiprocessing.get_context("spawn")
        self._pipe, theirs = context.Pipe()
        self._process = context.Process(target=_serve, args=(theirs,), daemon=True)
        self._process.start()
        theirs.close()

    def read(self, path: Path) -> tuple[str, str]:
        if self._process is None:
            self._start()
        first = not self._pipe.poll(0)
        try:
            self._pipe.send(path)
            if self._pipe.poll(LONGEST_S + 20 * first):
                kind, failure = self._pipe.recv()
                return str(kind), str(failure)
            failure = f"takes longer than {LONGEST_S:g} s"
        except (EOFError, OSError):
            assert self._process is not None
            self._process.join(5)
            failure = f"the process died with exit code {self._process.exitcode}"
        self.stop()
        return "", failure

    def stop(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.join()
            self._process = None


def _seeds_of(folder: Path) -> dict[str, bytes]:
    real = [path for path in sorted(_REAL.rglob("*")) if path.parent.name in ("bad", "good", "jpg", "tiff")]
    small = [path for path in real if path.is_file() and path.suffix and path.stat().st_size < _LARGEST_REAL]
    return made_files(folder) | {path.name: path.read_bytes() for path in small}


def fuzz(count: int, seed: int) -> Iterator[Outcome]:
    """Yield how each of `count` damaged files ended, the same files for the same seed and the same real files."""
    reader = _Reader()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        good = sorted(_seeds_of(folder).items())
        try:
            for number in range(count):
                title, data = good[number % len(good)]
                path = folder / f"F{number:05}{Path(title).suffix}"
                content = damaged(data, seed * 1_000_003 + number)
                path.write_bytes(content)
                start = time.perf_counter()
                kind, failure = reader.read(path)
                path.unlink()
                yield Outcome(f"{number:05} {title}", kind, failure, time.perf_counter() - start, content)
        finally:
            reader.stop()


def main() -> int:
    """Run the fuzz and print what became of the files; 1 if any failed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path)
    chosen = parser.parse_args()
    counts: Counter[str] = Counter()
    slowest = 0.0
    for outcome in fuzz(chosen.count, chosen.seed):
        counts[outcome.kind or "failed"] += 1
        slowest = max(slowest, outcome.seconds)
        if outcome.failure:
            print(f"{outcome.name}: {outcome.failure}", flush=True)
            if chosen.keep:
                chosen.keep.mkdir(parents=True, exist_ok=True)
                number, title = outcome.name.split(" ", 1)
                (chosen.keep / f"{number}{Path(title).suffix}").write_bytes(outcome.content)
    print(", ".join(f"{count} {kind}" for kind, count in counts.most_common()) + f"; slowest {slowest:.2f} s")
    return 1 if counts["failed"] else 0


if __name__ == "__main__":
    raise SystemExit(main())
