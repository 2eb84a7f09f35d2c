# Everything sets itself up: a machine with Python 3.11, make and (for the browser tests) apt is enough.
PYTHON ?= python3
BIN := .venv/bin
PIP := $(BIN)/pip --disable-pip-version-check --quiet
WORKERS ?= 2
RUN_READY := .venv/.run-ready
TEST_READY := .venv/.test-ready

.PHONY: run test lint bench soak bench-large mutate engines screens lock clean

run: $(RUN_READY)
	$(BIN)/threemark demo $(ARGS)

test: $(TEST_READY)
	@sh .ci/browser
	$(BIN)/python -m pytest -n $(WORKERS) --dist loadfile --no-loadscope-reorder $(ARGS)

lint: $(TEST_READY)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports

bench: $(TEST_READY)
	@sh .ci/browser
	$(BIN)/python -m bench $(ARGS)

bench-large: $(TEST_READY)
	$(BIN)/python -m bench._large $(ARGS)

# How many small wrong changes of the judge its tests notice: about an hour for all of them, never in CI.
mutate: $(TEST_READY)
	$(BIN)/python -m tests.mutate $(ARGS)

# A second engine walks a visit where one is installed.
engines: $(TEST_READY)
	$(BIN)/python -m pytest tests/browser/test_second_engine.py $(ARGS)

# The pictures of the README, from the present pages.
screens: $(TEST_READY)
	@sh .ci/browser
	$(BIN)/python -m docs.make_screens

# What is longer than a test run: 10,000 mouths, 20,000 visits by two Pythons, 50,000 seeds of the simulator, 500 real
# kills, every single bit of a store's files, every night of a year.
# SOAK_SECONDS limits the simulator; SOAK_FIRST is its first seed.
soak: $(TEST_READY)
	THREEMARK_MOUTHS=10000 $(BIN)/python -m pytest tests/judge/test_plan.py -k "mouth or hinge or plan" $(ARGS)
	THREEMARK_PARITY=20000 $(BIN)/python -m pytest --timeout=1800 tests/browser/test_parity.py -k another_python $(ARGS)
	SOAK_SEEDS=$${SOAK_SEEDS:-50000} SOAK_KILLS=$${SOAK_KILLS:-500} SOAK_BITS=1 $(BIN)/python -m pytest -s \
		tests/sync/test_simulation.py tests/sync/test_crash.py tests/sync/test_tampering.py -k "soak or killed or bit" $(ARGS)
	$(BIN)/python -m pytest -m soak tests/browser $(ARGS)
	THREEMARK_YEAR=1 $(BIN)/python -m pytest -s --timeout=3600 tests/running/test_year.py $(ARGS)

$(RUN_READY): requirements.lock pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' \
		|| { echo "Threemark needs Python 3.11 or newer. Name one: make PYTHON=python3.12 ..."; exit 2; }
	@sh .ci/venv $(PYTHON)
	$(PIP) install --require-hashes -r requirements.lock
	$(PIP) install --no-deps -e .
	@touch $@

$(TEST_READY): $(RUN_READY) requirements-test.lock
	$(PIP) install --require-hashes -r requirements-test.lock
	@touch $@

# Both locks anew, from pyproject.toml (needs: pip install pip-tools).
LOCK := $(BIN)/pip-compile --quiet --generate-hashes --strip-extras --allow-unsafe --no-header \
	--no-emit-index-url --no-emit-trusted-host --no-emit-find-links
lock:
	$(LOCK) -o requirements.lock pyproject.toml
	$(LOCK) --extra test --extra postgres -c requirements.lock -o requirements-test.lock pyproject.toml

clean:
	rm -rf .venv
