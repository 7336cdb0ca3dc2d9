PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/.ready
PIP := $(BIN)/python -m pip --disable-pip-version-check --quiet

.PHONY: help demo test check lock wheel fixtures docs clean

help:  ## what can be made
	@grep -E '^[a-z]+:.*##' $(MAKEFILE_LIST) | sed 's/:.*## /\t/'

$(READY): requirements.lock pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(PIP) install --require-hashes --no-deps -r requirements.lock
	$(PIP) install --no-build-isolation --no-deps --editable .
	@touch $(READY)

demo: $(READY)  ## run the whole job on the shipped scenario
	$(BIN)/cogledger demo

test: $(READY)  ## checks of style, types and layers, then every test
	scripts/check
	$(BIN)/pytest -n auto

check: $(READY)  ## checks of style, types and layers only
	scripts/check

fixtures: $(READY)  ## draw the fixtures and the demo scenario anew
	$(BIN)/python fixtures/make.py

docs: $(READY)  ## write the made pages of docs/ anew
	$(BIN)/python scripts/make_docs.py

wheel: $(READY)  ## build the wheel into dist/
	$(BIN)/python -m build --no-isolation --wheel --outdir dist .

lock:  ## pin every dependency anew (needs pip-tools)
	pip-compile --quiet --all-extras --allow-unsafe --generate-hashes --strip-extras --no-emit-index-url \
	  --no-emit-find-links --no-emit-trusted-host --output-file requirements.lock pyproject.toml

clean:  ## remove what was made
	rm -rf $(VENV) build dist *.egg-info
