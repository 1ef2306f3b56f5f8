#!/bin/sh
# Sets lapsebench up with its test tools and runs every check: style, types, layers, and the tests with and without Qt.
set -eu
cd "$(dirname "$0")/.."
sh resources/setup.sh tests
export QT_QPA_PLATFORM=offscreen
.venv/bin/ruff check .
.venv/bin/ruff format --check .
.venv/bin/mypy
.venv/bin/lint-imports
echo "The tests of everything but the window, with PySide6 out of reach:"
LAPSEBENCH_HIDE_QT=1 .venv/bin/python -m pytest -n 2 -p no:pytest-qt --ignore tests/gui "$@"
echo "The tests of the window:"
.venv/bin/python -m pytest tests/gui "$@"
