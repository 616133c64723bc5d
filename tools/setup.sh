#!/usr/bin/env bash
# Make .venv from the lock file.  Needs only a Python 3.11, 3.12 or 3.13 with venv; brings its own installer.
set -euo pipefail
python=${1:-}
if [ -z "$python" ]; then
  echo "No Python 3.11, 3.12 or 3.13 found. Install one (Debian: apt-get install python3.11 python3.11-venv) and run make again." >&2
  exit 1
fi
cd "$(dirname "$0")/.."
say() { echo "setup: $*" >&2; }
if ! command -v uv >/dev/null 2>&1; then
  say "fetching the installer"
  "$python" -m venv .venv-uv
  .venv-uv/bin/python -m pip install --quiet --disable-pip-version-check uv 2>/dev/null
  PATH="$PWD/.venv-uv/bin:$PATH"
fi
say "installing what uv.lock lists (a minute the first time)"
uv sync --quiet --frozen --all-extras --python "$("$python" -c 'import sys; print(sys.executable)')"
bash tools/compile_modules.sh .venv/bin/python || say "some modules stay as they are; everything works without"
touch .venv/ready
