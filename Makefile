# Two commands matter: `make demo` runs the main job, `make test` proves it.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
OUT ?= out/demo
empty :=
space := $(empty) $(empty)
comma := ,
CORE := $(subst $(space),$(comma),$(patsubst %,src/leastcut/%/*,car inspect polish testspot plan work protect safety))

.PHONY: demo test test-edges test-core test-postgresql serve bench mutation docs lint fmt browser postgres clean

$(VENV)/run.stamp: requirements.txt pyproject.toml
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --no-index -e .
	touch $@

$(VENV)/dev.stamp: requirements-dev.txt $(VENV)/run.stamp
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements-dev.txt
	touch $@

demo: $(VENV)/run.stamp  ## the invented car through every stage
	$(BIN)/leastcut demo --out $(OUT)

serve: $(VENV)/run.stamp  ## the workbench on this machine, with a shop of its own
	$(BIN)/leastcut serve

browser:
	sh tools/need_browser.sh

postgres:
	sh tools/need_postgres.sh

lint: $(VENV)/dev.stamp
	$(BIN)/ruff check src tests bench tools examples docs
	$(BIN)/ruff format --check src tests bench tools examples docs
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/python tools/house_numbers.py

test: $(VENV)/dev.stamp browser postgres lint  ## everything that must hold
	$(BIN)/python -m coverage erase
	$(MAKE) --jobs 2 test-edges test-core test-postgresql
	$(BIN)/python -m coverage combine --quiet
	$(BIN)/python -m coverage report --fail-under=99 --skip-covered --include="$(CORE)"

# Two halves side by side: what a page, a command or the record shows, and everything else.
EDGES := tests/web tests/shop tests/docs tests/packaging

test-edges: $(VENV)/dev.stamp
	COVERAGE_FILE=.coverage.edges LEASTCUT_NEED_POSTGRES=1 $(BIN)/python -m pytest --cov --cov-report= $(EDGES)

test-core: $(VENV)/dev.stamp
	COVERAGE_FILE=.coverage.examples $(BIN)/python -m pytest --cov --cov-report= --doctest-modules src --ignore=src/leastcut/shop/migrations
	COVERAGE_FILE=.coverage.core $(BIN)/python -m pytest --cov --cov-report= tests $(EDGES:%=--ignore=%)

# The pages once more, on the other database; WHICH= adds those in a browser (4 more minutes).
WHICH := -m "not browser"

test-postgresql: $(VENV)/dev.stamp
	LEASTCUT_TESTS_ON=postgresql LEASTCUT_NEED_POSTGRES=1 $(BIN)/python -m pytest tests/web $(WHICH)

bench: $(VENV)/dev.stamp
	$(BIN)/python -m bench

mutation: $(VENV)/dev.stamp  ## how well the tests bite: a sample of mutants of the core, half an hour
	OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 nice $(BIN)/python tools/mutation.py

docs: $(VENV)/dev.stamp browser  ## what is made from the code, the pictures, the site
	$(BIN)/python tools/make_docs.py
	$(BIN)/python tools/make_evidence.py
	$(BIN)/python tools/make_architecture.py
	$(BIN)/python tools/make_glossary.py
	$(BIN)/python tools/make_man.py
	$(BIN)/python tools/make_pictures.py
	$(BIN)/sphinx-build -q -W -b html docs out/site

fmt: $(VENV)/dev.stamp
	$(BIN)/ruff check --fix src tests bench tools examples docs
	$(BIN)/ruff format src tests bench tools examples docs

clean:
	rm -rf out build dist .coverage .mypy_cache .ruff_cache .pytest_cache .hypothesis
