#!/usr/bin/env bash
# compile_modules.sh PYTHON: keep the bytecode of this package and of what it imports.  Where PYTHONDONTWRITEBYTECODE is set
# nothing else would keep it: seconds of every command.
set -euo pipefail
cd "$(dirname "$0")/.."
"$1" -m compileall -q -j 0 -x '/(tests?|testing|_vendor)/' src $("$1" - <<'EOF'
from importlib.util import find_spec
for name in ("alembic attr attrs click fastapi jinja2 llvmlite markupsafe numba numpy PIL pydantic pydantic_core scipy "
             "sqlalchemy starlette tomlkit typing_extensions typst uvicorn").split():
    if spec := find_spec(name):
        print(*(spec.submodule_search_locations or [spec.origin]))
EOF
)
