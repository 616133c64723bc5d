# The verbs of this house.  `make` alone lists them.
SHELL := /bin/bash
.SHELLFLAGS := -euo pipefail -c
.DEFAULT_GOAL := help
PYTHON ?= $(shell for p in python3.11 python3.12 python3.13 python3; do command -v $$p >/dev/null 2>&1 && $$p -c 'import sys; sys.exit(not (3,11) <= sys.version_info[:2] < (3,14))' 2>/dev/null && { echo $$p; break; }; done)
BIN := .venv/bin
TIMES ?= 20000
export UV_PROJECT_ENVIRONMENT := .venv

help:  ## list the verbs
	@grep -hE '^[a-z-]+:.*##' Makefile | sed -E 's/^([a-z-]+):.*## /\1\t/' | expand -t 14

setup: .venv/ready  ## make .venv with everything the verbs need

.venv/ready: pyproject.toml uv.lock
	@bash tools/setup.sh "$(PYTHON)"

demo: .venv/ready  ## run the main job on the bundled workshop; writes demo-out/
	@$(BIN)/vatwright demo --run demo-out

check: .venv/ready  ## lint, formatting, types, import rules
	@$(BIN)/ruff check .
	@$(BIN)/ruff format --check .
	@$(BIN)/mypy
	@$(BIN)/lint-imports

quick: .venv/ready  ## two minutes before a commit: checks, and the tests of what changed
	@bash tools/quick.sh

test: .venv/ready  ## every check and test
	@bash tools/test.sh

serve: .venv/ready  ## open the bench in a browser
	@$(BIN)/vatwright serve

bench: .venv/ready  ## compare with the reference libraries, print ratios
	@PATH="$$PWD/.venv-uv/bin:$$PATH" uv sync --quiet --frozen --all-extras --group bench
	@$(BIN)/python -m benchmarks

fuzz: .venv/ready  ## hand the readers of files and forms what nobody would write; `make fuzz TIMES=2000000` for long
	@PATH="$$PWD/.venv-uv/bin:$$PATH" uv sync --quiet --frozen --all-extras --group fuzz
	@$(BIN)/python -m benchmarks.fuzz --times $(TIMES)

score: .venv/ready  ## run invented workshops, richer than the model: do first runs hold, is waiting cut to what is needed; goes on where it stopped
	@$(BIN)/python -m benchmarks.workshop --shops 200 --long 10 --minutes 13 --keep demo-out/score

words: .venv/ready  ## gather every text and bring the languages up to date
	@$(BIN)/python tools/words.py

pictures: .venv/ready  ## take the pictures of the documentation anew, of the bench on the demo workshop
	@$(BIN)/python tools/pictures.py

docs: .venv/ready  ## build the documentation into docs/_build/html
	@$(BIN)/sphinx-build -W -q -b html docs docs/_build/html
	@echo "docs/_build/html/index.html"

.PHONY: help setup demo check quick test bench fuzz score words pictures docs serve
