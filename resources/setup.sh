#!/bin/sh
# Sets up what lapsebench needs in .venv beside the sources; on Debian as root also Qt's system libraries.
# Usage: sh resources/setup.sh [extra]     extra: "tests" installs the test tools too.
set -eu
cd "$(dirname "$0")/.."

packages="python3-venv libgl1 libegl1 libglib2.0-0 libdbus-1-3 libfontconfig1 libxkbcommon0 libxkbcommon-x11-0
 libxcb-cursor0 libxcb-icccm4 libxcb-image0 libxcb-keysyms1 libxcb-randr0 libxcb-render-util0 libxcb-shape0
 libxcb-xinerama0 libxcb-xkb1 fonts-dejavu-core"
missing=""
if command -v dpkg-query >/dev/null 2>&1; then
  for package in $packages; do
    dpkg-query -W -f='${Status}' "$package" 2>/dev/null | grep -q "ok installed" || missing="$missing $package"
  done
fi
if [ -n "$missing" ]; then
  if [ "$(id -u)" = 0 ]; then
    apt-get update -qq
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing >/dev/null
  else
    echo "These Debian packages are missing:$missing" >&2
    echo "Install them with: sudo apt-get install$missing" >&2
  fi
fi

[ -x .venv/bin/python ] || python3 -m venv .venv
.venv/bin/python -m pip install --quiet --disable-pip-version-check -e ".${1:+[$1]}"
