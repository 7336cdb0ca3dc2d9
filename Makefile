PYTHON ?= $(shell command -v python3.11 || command -v python3)
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/.ready
PIP := $(BIN)/python -m pip --disable-pip-version-check --quiet
WORKERS ?= 2

.PHONY: help setup demo test check fast fixtures docs wheel lock clean

help:  ## what can be made
	@grep -E '^[a-z]+:.*##' $(MAKEFILE_LIST) | sed 's/:.*## /\t/'

$(READY): requirements.lock pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "cogledger needs Python 3.11 or newer; name one: make PYTHON=/path/to/python3.11")'
	@echo "Setting up $(VENV) once, with everything that developers use: a minute or two, 1.3 GB ..."
	@$(PYTHON) -m venv $(VENV)
	@$(PIP) install --require-hashes --no-deps -r requirements.lock
	@$(PIP) install --no-build-isolation --no-deps --editable .
	@touch $(READY)

setup: $(READY)  ## set up .venv with everything that use and development need

demo: $(READY)  ## run the whole job on the demo's bike
	@$(BIN)/cogledger demo

test: $(READY)  ## what has to pass: style, types, made pages, then every test
	scripts/check
	$(BIN)/pytest -n $(WORKERS)

check: $(READY)  ## style, types and made pages only
	scripts/check

fast: $(READY)  ## the tests that take no more than a few seconds each
	$(BIN)/pytest -n $(WORKERS) -m 'not slow'

fixtures: $(READY)  ## draw the test documents and the demo's bike anew
	$(BIN)/python fixtures/make.py documents
	$(BIN)/python fixtures/make.py scenario

docs: $(READY)  ## write the made pages of docs/, and the answers shown in the others, anew
	$(BIN)/python scripts/make_docs.py
	$(BIN)/python scripts/run_docs.py --write

wheel: $(READY)  ## build the wheel into dist/ from a clean copy
	$(BIN)/python scripts/build_wheel.py dist

lock:  ## pin every dependency anew (needs pip-tools)
	pip-compile --quiet --all-extras --allow-unsafe --generate-hashes --strip-extras --no-emit-index-url \
	  --no-emit-find-links --no-emit-trusted-host --output-file requirements.lock pyproject.toml

clean:  ## remove what was made
	rm -rf $(VENV) build dist *.egg-info demo-ledger demo-output .hypothesis .pytest_cache .ruff_cache
