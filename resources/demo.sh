#!/bin/sh
# Sets lapsebench up and opens the demo night in the window; without a screen it makes the demo film and says where.
set -eu
cd "$(dirname "$0")/.."
sh resources/setup.sh
exec .venv/bin/lapsebench --demo
