#!/usr/bin/env bash
# What can differ on another supported Python, in an environment of its own: reading and writing, the store, the commands, and every number
# of the demo (tests/golden).  The formulas' own checks, the services (same code, same libraries, and every command goes through them) and
# what a browser shows are told by the first.
set -euo pipefail
cd "$(dirname "$0")/.."
command -v uv >/dev/null 2>&1 || PATH="$PWD/.venv-uv/bin:$PATH"
UV_PROJECT_ENVIRONMENT=.venv-other uv sync --quiet --frozen --all-extras --no-default-groups --group test --python "$("$1" -c 'import sys; print(sys.executable)')"
bash tools/compile_modules.sh .venv-other/bin/python || true
bash tools/compile_kernels.sh .venv-other/bin/python
.venv-other/bin/python -m pytest -q -p no:cacheprovider -n 2 --dist loadfile --ignore-glob='*/journeys/test_web_*' \
  tests/golden tests/files tests/store tests/interfaces tests/records tests/journeys
