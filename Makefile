# Everything runs from a fresh clone with nothing but Python 3.11 or newer: `make demo`, `make test`.
.DEFAULT_GOAL := help
VENV := .venv
# the versions that are tested, all of them: a checkout is the same today and in a year
LOCK := .ci/constraints.txt
BIN := $(VENV)/bin
CORES := $(shell nproc 2>/dev/null || getconf _NPROCESSORS_ONLN 2>/dev/null || echo 2)
# many tests wait for a process or a meter: twice as many workers as cores keep the cores busy
WORKERS ?= $(shell echo $$(( 2 * $(CORES) )))
PYTHON ?= python3
READY := $(VENV)/.ready
COMPILED := $(VENV)/.compiled
UV ?= $(shell command -v uv || echo $(BIN)/uv)
# what was compiled is kept: tests start hundreds of processes, and each would compile every module anew
unexport PYTHONDONTWRITEBYTECODE

.PHONY: help demo test test-slow test-all check format schema docs diagram rooms pictures bench bench-long fuzz wheel lock lowest clean

help: ## say what can be made
	@grep -hE '^[a-z-]+:.*## ' $(MAKEFILE_LIST) | sed 's/:.*## /\t/' | expand -t 12

# uv installs in a third of the time; it is taken from the path, else from the new environment, else pip does it all
$(READY): pyproject.toml $(LOCK)
	@command -v $(PYTHON) >/dev/null || { echo "Python 3.11 or newer is needed"; exit 2; }
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "Python 3.11 or newer is needed"; exit 2; }
	@test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	@echo "installing into $(VENV) (once, about half a minute)"
	@if command -v uv >/dev/null; then uv pip install -q --python $(BIN)/python -c $(LOCK) -e '.[dev]'; \
	elif $(BIN)/python -m pip install -q --disable-pip-version-check uv 2>/dev/null; then \
		$(BIN)/uv pip install -q --python $(BIN)/python -c $(LOCK) -e '.[dev]'; \
	else $(BIN)/python -m pip install -q --disable-pip-version-check -c $(LOCK) -e '.[dev]'; fi
	@touch $@

demo: $(READY) ## walk the continuity of a rebuilt bundle of Gannet Head on a simulated bench
	@$(BIN)/proveout demo || test $$? -eq 1  # 1: it found the faults that are there to be found

# the quick tests of a file run in one worker, since they share what they read; the slow ones wherever one is free
TESTS := $(BIN)/python -m pytest --dist loadgroup --no-loadscope-reorder

test: $(COMPILED) ## run the tests but those that take long
	@$(TESTS) -n $(WORKERS) -m "not slow"

test-slow: $(COMPILED) ## run those that take long
	@$(TESTS) -n $(WORKERS) -m "slow or drawn"

# in one go: what draws its cases draws all of them, once, and what takes long begins first
test-all: $(COMPILED) ## run all tests
	@$(TESTS) -n $(WORKERS)

# in a fresh checkout each worker would compile all tests and all libraries for itself; once it is done, all find them
$(COMPILED): $(READY)
	@$(BIN)/python -m pytest --collect-only -qq >/dev/null 2>&1; touch $@

check: types lint contracts collected ## lint, formatting, types, which room may import which, and that tests can be read

.PHONY: types lint contracts collected
types: $(READY)
	@$(BIN)/mypy

lint: $(READY)
	@$(BIN)/ruff check .
	@$(BIN)/ruff format --check .

contracts: $(READY)
	@$(BIN)/lint-imports --no-cache

collected: $(READY)
	@said=$$($(BIN)/python -m pytest --collect-only -q 2>&1) || { echo "$$said" | tail -20; exit 1; }
	@touch $(COMPILED)

format: $(READY) ## put the code into its format
	@$(BIN)/ruff format .
	@$(BIN)/ruff check --fix .

schema: $(READY) ## write the JSON Schemas that the shipped YAML files point to
	@for kind in plant bench sequence profile record rates; do $(BIN)/proveout schema $$kind > sequences/schemas/$$kind.json; done

docs: $(READY) ## draw the pages that follow from the program, and build the site into docs/_build
	@$(BIN)/python -m tests.pages
	@$(BIN)/python -m sphinx -q -W --keep-going -n docs docs/_build

diagram: $(READY) ## draw the state machine from its table into DEVELOPERS.md
	@$(BIN)/python -m tests.walk.diagram

rooms: $(READY) ## count the rooms' modules and lines into DEVELOPERS.md
	@$(BIN)/python -m tests.house.rooms

pictures: $(READY) ## remake the pictures of the screens
	@$(BIN)/python -m tests.screens.pictures

bench: $(READY) ## measure against the baselines, and write tests/benchmarks/RESULTS.md
	@$(BIN)/python -m tests.benchmarks

bench-long: $(READY) ## the same, and what takes an hour: 300 crashes of each kind, drawn plants
	@$(BIN)/python -m tests.benchmarks --all

fuzz: $(READY) ## feed damaged input to everything that takes bytes from outside, ten minutes
	@$(BIN)/python -m tests.fuzz

wheel: $(READY) ## build the wheel and prove it in an empty environment
	@$(BIN)/python -m tests.wheel

lock: $(READY) ## take today's versions of all that is needed for those to test with
	@$(UV) pip compile -q --upgrade --all-extras --universal --python-version 3.11 --no-header --no-annotate pyproject.toml -o $(LOCK)

# the oldest that pyproject.toml allows, in an environment of its own
lowest: $(READY) ## run what leans most on other libraries with the oldest versions that are allowed
	@$(UV) venv -q --clear --python $(BIN)/python $(VENV)/lowest
	@$(UV) pip install -q --python $(VENV)/lowest/bin/python --resolution lowest-direct -e .
	@$(UV) pip install -q --python $(VENV)/lowest/bin/python -e '.[dev]'
	@$(VENV)/lowest/bin/python -m pytest -q -n 2 -m "not slow" tests/test_files.py tests/record tests/instruments tests/plant tests/network tests/screens tests/report

clean: ## remove what was built
	rm -rf $(VENV) dist docs/_build .mypy_cache .ruff_cache .pytest_cache .hypothesis
