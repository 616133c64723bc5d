#!/usr/bin/env bash
# test_other.sh PYTHON TESTS...: what can differ on another supported Python, in an environment of its own: reading and writing,
# the store, the commands, and every number
# of the demo (tests/golden).  The formulas' own checks, the services (same code, same libraries, and every command goes through them) and
# what a browser shows are told by the first.
set -euo pipefail
cd "$(dirname "$0")/.."
command -v uv >/dev/null 2>&1 || PATH="$PWD/.venv-uv/bin:$PATH"
python=$1; shift
UV_PROJECT_ENVIRONMENT=.venv-other uv sync --quiet --frozen --all-extras --no-default-groups --group test --python "$("$python" -c 'import sys; print(sys.executable)')"
bash tools/compile_modules.sh .venv-other/bin/python || true
bash tools/compile_kernels.sh .venv-other/bin/python
.venv-other/bin/python -m pytest -q -p no:cacheprovider -n 2 --dist loadfile --ignore-glob='*/journeys/test_web_*' "$@"
