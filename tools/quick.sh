#!/usr/bin/env bash
# Before a commit: lint, types, import rules, the house's rules, and the tests of what changed.  Two minutes at most on two cores.
set -uo pipefail
cd "$(dirname "$0")/.."
failed=0
run() { echo "== $1"; shift; "$@" || failed=1; }
run "lint" .venv/bin/ruff check .
run "format" .venv/bin/ruff format --check .
run "types" .venv/bin/mypy
run "import rules" .venv/bin/lint-imports --no-cache

# A file's own tests mirror it; its examples are tests too.
touched=()
while read -r file; do
  [ -f "$file" ] || continue
  case "$file" in
    tests/journeys/*|tests/web/*) ;;  # minutes long: `make test` runs them
    tests/*/test_*.py) touched+=("$file") ;;
    src/vatwright/*.py)
      touched+=("$file")
      mirror="tests/${file#src/vatwright/}"; mirror="$(dirname "$mirror")/test_$(basename "$mirror")"
      [ -f "$mirror" ] && touched+=("$mirror") ;;
  esac
done < <(git diff --name-only HEAD; git ls-files --others --exclude-standard; git diff --name-only HEAD~1 HEAD 2>/dev/null)
run "tests of what changed" timeout 100 .venv/bin/python -m pytest -q -p no:cacheprovider -n 2 --dist loadfile -m "not slow" tests/rules \
  $(printf '%s\n' "${touched[@]:-}" | sort -u)
exit $failed
