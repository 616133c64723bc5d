#!/usr/bin/env bash
# Every check and test.  Says what is missing where it may not install a system package, runs the rest, ends non-zero.
set -uo pipefail
cd "$(dirname "$0")/.."
failed=0
run() { echo "== $1"; shift; "$@" || failed=1; }

# Only what is missing is installed: where a node of another origin is, Debian's npm would be refused, and all else with it.
missing=""
lacks() { command -v "$1" >/dev/null 2>&1 || missing="$missing $2"; }
lacks pdftoppm poppler-utils
lacks npm npm
lacks "${CHROMIUM:-chromium}" chromium  # CHROMIUM says where another is
# half of the store's tests need a server of their own, or one that TEST_DB_URL names
if [ -z "${TEST_DB_URL:-}" ] && ! ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1; then lacks initdb postgresql; fi
if [ -n "$missing" ]; then
  if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
    echo "== installing:$missing"
    { apt-get update -qq && apt-get install -y -qq --no-install-recommends fonts-dejavu-core $missing >/dev/null; } || failed=1
  else
    echo "Missing:$missing. Install them; the tests that need them will fail."
    failed=1
  fi
fi

# What one test has studied another need not study again.
export VATWRIGHT_TEST_CACHE; VATWRIGHT_TEST_CACHE=$(mktemp -d); trap 'rm -rf "$VATWRIGHT_TEST_CACHE"' EXIT

# Kernels meanwhile: the checks keep one core busy, and no test compiles what another does at the same moment.
bash tools/compile_kernels.sh .venv/bin/python & compiling=$!
run "lint" .venv/bin/ruff check .
run "format" .venv/bin/ruff format --check .
run "types" .venv/bin/mypy
run "import rules" .venv/bin/lint-imports
run "docs" .venv/bin/sphinx-build -W -q -b html docs docs/_build/html
wait "$compiling"
# A browser keeps an event loop of its own running: its journeys have a process to themselves.
run "tests" .venv/bin/python -m pytest -q -p no:cacheprovider -n 2 --dist loadfile --ignore-glob='*/journeys/test_web_*'
run "tests in a browser" .venv/bin/python -m pytest -q -p no:cacheprovider tests/journeys/test_web_*.py

others=$(bash tools/other_python.sh)
[ -n "$others" ] || echo "== no other Python (3.11, 3.12 and 3.13 are supported): only this one was tested"
what="tests/golden tests/files tests/store tests/interfaces tests/records tests/journeys"
for other in $others; do
  run "tests on $($other --version)" bash tools/test_other.sh "$other" $what
  what="tests/golden tests/records"  # a third one: does it install, compile and say the same numbers?
done
exit $failed
