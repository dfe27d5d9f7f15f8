# Type `make help`. Where there is no make, README.md says what to type instead.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

help: ## this list
	@grep -hE '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed 's/:.*##/\t/' | expand -t 12

$(VENV)/.installed: pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --upgrade "pip>=25.1"
	$(BIN)/python -m pip install --quiet --editable '.[web]' --group dev
	@touch $@

run: $(VENV)/.installed ## make the environment, start the application, say which address to open
	$(BIN)/python -m webapp

test: $(VENV)/.installed ## all checks and all tests (the same as .ci/run)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/python -m pytest -n logical --maxprocesses 4 --dist worksteal -q

suite: $(VENV)/.installed ## types, and all tests but those in a browser (WHICH='tests/sfn/plan' takes a part)
	$(BIN)/mypy
	$(BIN)/python -m pytest -n logical --maxprocesses 4 --dist worksteal -q --ignore=tests/browser $(WHICH)

test-newer: $(VENV)/.installed ## the same on every newer Python that this machine has; .ci/run takes a part of it
	.ci/newer

lint: $(VENV)/.installed ## mend what ruff can mend, then show the rest
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .
	$(BIN)/mypy

bench: $(VENV)/.installed ## benchmarks: ours beside the named reference, as ratios
	@for f in tests/bench/bench_*.py; do echo "== $$f"; $(BIN)/python $$f; done

soak: $(VENV)/.installed ## the attacks of CI for long: every address, 50 kills, editors and broken caches (SOAK=5 for longer, SOAK_SEED=N)
	SOAK=$${SOAK:-1} $(BIN)/python -m pytest -q -s tests/webapp/test_attacked.py

audit: $(VENV)/.installed ## known holes in what is installed; says so where pip-audit's database cannot be reached
	$(BIN)/python .ci/audit

mutants: $(VENV)/.installed ## break the lines that reach the mast one by one; what no test notices is listed (ONLY='sfn.check.verdict*')
	$(BIN)/python -m mutmut run --max-children 2 $(ONLY)
	$(BIN)/python -m mutmut results

trust: $(VENV)/.installed ## every published check: ours, theirs, difference, tolerance, source
	$(BIN)/python -m pytest -q tests/published --trust

reference: $(VENV)/.installed ## the library's pages from its docstrings, in build/reference
	$(BIN)/python -m pdoc --docformat numpy --output-directory build/reference sfn sfn.library

clean: ## remove the environments
	rm -rf .venv .venv-3.*

.PHONY: help run reference test suite test-newer lint bench soak audit mutants trust clean
