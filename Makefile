# fieldmap: everything a newcomer needs. The environment lives in .venv and is made when missing.
PYTHON ?= $(shell command -v python3.11 || command -v python3)
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/.ready
export PIP_DISABLE_PIP_VERSION_CHECK := 1

.DEFAULT_GOAL := help
.PHONY: help install demo test check bench soak lock clean

help: ## what can be made
	@grep -hE '^[a-z]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 12

install: $(READY) ## the environment, with the locked versions

$(READY): requirements.lock pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --require-hashes -r requirements.lock
	$(BIN)/python -m pip install --quiet --no-deps --editable .
	@touch $@

demo: $(READY) ## the whole job on the invented farm; ends with the pages to open
	$(BIN)/fieldmap demo --out outputs/demo

test: $(READY) ## all tests; says loudly what it had to leave out
	$(BIN)/python -m pytest -n 2

check: $(READY) ## format, lint, types
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy

bench: $(READY) ## speed and memory, side by side with the peers
	$(BIN)/python -m pytest tests/bench -o addopts="" -p no:cacheprovider --benchmark-only --benchmark-columns=min,median,rounds --benchmark-group-by=group -q -s

soak: $(READY) ## the log under 1,000 kills and four writers at once; prints what was lost
	FIELDMAP_SOAK=1000 $(BIN)/python -m pytest tests/hazards/test_hazards_crash.py -q -s

lock: $(READY) ## resolve the versions anew
	$(BIN)/python -m pip install --quiet pip-tools
	$(BIN)/python -m piptools compile --quiet --generate-hashes --strip-extras --allow-unsafe \
		--no-emit-index-url --no-emit-trusted-host --no-emit-options --extra test --extra cluster \
		--output-file requirements.lock pyproject.toml

clean: ## take away what was made, the environment too
	rm -rf $(VENV) outputs/demo .hypothesis .mypy_cache .ruff_cache .pytest_cache dist build
	find fieldmap tests demo_geodata -name __pycache__ -type d -prune -exec rm -rf {} +
