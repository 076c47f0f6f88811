# Bare `make` lists what there is to do. Everything runs inside .venv, made from the pinned lock files.
PYTHON ?= $(shell command -v python3.11 || command -v python3)
VENV := .venv
BIN := $(VENV)/bin
# Their tests run watched for branch coverage, which takes two to four times as long; the tests of all others do not.
WATCHED := tests/test_quantity.py $(addprefix tests/,board copper damage isolate proving rework rom)
DEBIAN := chromium kicad-symbols poppler-utils srecord ngspice postgresql

.PHONY: help demo serve test test-all check bench lock catalogues clean debian-packages

help:  ## list these targets
	@grep -hE '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/^([a-z-]+):[^#]*## */  make \1\t/' | expand -t 20

# --no-deps: the locks are whole. Left to look for itself, pip may meet a version newer than the pinned one and give up.
$(VENV)/.runtime: requirements/runtime.lock pyproject.toml
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --no-deps --require-hashes -r requirements/runtime.lock
	$(BIN)/python -m pip install --quiet --no-deps --no-build-isolation -e .
	touch $@

$(VENV)/.dev: $(VENV)/.runtime requirements/dev.lock
	$(BIN)/python -m pip install --quiet --no-deps --require-hashes -r requirements/dev.lock
	touch $@

demo: $(VENV)/.runtime  ## set up, run the whole sample job headless, say where the results are
	$(BIN)/coppermend demo --out build/demo

serve: $(VENV)/.runtime  ## the bench, in a browser
	$(BIN)/coppermend serve

test: $(VENV)/.dev  ## all tests that need no Debian package, with branch coverage
	$(BIN)/coverage erase
	$(BIN)/python -m pytest -n auto --dist loadfile --cov --cov-report= $(WATCHED)
	$(BIN)/coverage report --fail-under=95
	$(BIN)/python -m pytest -n auto --dist loadfile $(addprefix --ignore=,$(WATCHED))

debian-packages:
	command -v apt-get >/dev/null || { echo "apt-get not found: install $(DEBIAN) by hand"; exit 1; }
	dpkg -s $(DEBIAN) >/dev/null 2>&1 || { apt-get update -q && DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends $(DEBIAN); }

test-all: debian-packages test  ## install the Debian packages for browser and symbol checks, then test

check: $(VENV)/.dev  ## lint, format, types, floors
	$(BIN)/ruff check src tests tools
	$(BIN)/ruff format --check src tests tools
	$(BIN)/mypy
	$(BIN)/lint-imports

bench: $(VENV)/.dev  ## timings, ours beside the reference in one run
	$(BIN)/python -m pytest tests/bench --benchmark-only -o addopts="--import-mode=importlib" --benchmark-columns=min,median,max,rounds --benchmark-sort=name

lock: $(VENV)/.dev  ## pin every dependency anew
	$(BIN)/python -m pip install --quiet uv
	$(BIN)/uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-annotate --no-header --upgrade -q pyproject.toml requirements/build.in -o requirements/runtime.lock
	$(BIN)/uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-annotate --no-header --upgrade -q --extra dev pyproject.toml requirements/build.in -o requirements/dev.lock

catalogues: $(VENV)/.dev  ## bring the languages of the pages up to date; fails when a message is not translated
	$(BIN)/python tools/catalogue.py && $(BIN)/python tools/sentences.py

clean:  ## remove the environment and everything built
	rm -rf $(VENV) build dist .coverage .coverage.* .ruff_cache .mypy_cache
