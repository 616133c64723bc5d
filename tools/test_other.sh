#!/usr/bin/env bash
# The tests once more, on another supported Python, in an environment of its own; what a browser shows is told by the first.
set -euo pipefail
cd "$(dirname "$0")/.."
command -v uv >/dev/null 2>&1 || PATH="$PWD/.venv-uv/bin:$PATH"
UV_PROJECT_ENVIRONMENT=.venv-other uv sync --quiet --frozen --no-default-groups --group test --python "$("$1" -c 'import sys; print(sys.executable)')"
.venv-other/bin/python -m pytest -q -p no:cacheprovider -n 2 --dist loadfile --ignore-glob='*/journeys/test_web_*'
