# Type `make help`. Where there is no make, README.md says what to type instead.
PYTHON ?= python3
BIN := .venv/bin

help: ## this list
	@grep -hE '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed 's/:.*##/\t/' | expand -t 12

.venv/.installed: pyproject.toml
	$(PYTHON) -m venv .venv
	$(BIN)/python -m pip install --quiet --upgrade "pip>=25.1"
	$(BIN)/python -m pip install --quiet --editable . --group dev
	@touch $@

run: .venv/.installed ## make the environment, start the application, say which address to open
	$(BIN)/python -m webapp

test: .venv/.installed ## all checks and all tests (the same as .ci/run)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/python -m pytest -n 2 --dist worksteal -q

lint: .venv/.installed ## mend what ruff can mend, then show the rest
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .
	$(BIN)/mypy

bench: .venv/.installed ## benchmarks: ours beside the named reference, as ratios
	@for f in tests/bench/bench_*.py; do echo "== $$f"; $(BIN)/python $$f; done

trust: .venv/.installed ## every published check: ours, theirs, difference, tolerance, source
	$(BIN)/python -m pytest -q tests/published --trust

clean: ## remove the environment
	rm -rf .venv

.PHONY: help run test lint bench trust clean
