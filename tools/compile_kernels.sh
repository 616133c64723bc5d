#!/usr/bin/env bash
# compile_kernels.sh PYTHON: compile once what every test process would otherwise compile for itself at the same time.
set -uo pipefail
cd "$(dirname "$0")/.."
folder=$(mktemp -d); trap 'rm -rf "$folder"' EXIT
VATWRIGHT_CACHE=$folder/cache VATWRIGHT_STORE=$folder/notebook.sqlite "$1" -m vatwright demo --run "$folder" >/dev/null 2>&1 || true
