# `make demo` and `make test` each work as the only command on a fresh machine.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

.PHONY: demo test lint bench clean

demo: $(VENV)/installed
	$(BIN)/saltreach demo --out maps/demo
	@echo "Open the map: maps/demo/map.html"

test: $(VENV)/tested lint
	$(BIN)/python tests/ensure_browser.py
	$(BIN)/python -m pytest

lint: $(VENV)/tested
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

bench: $(VENV)/tested
	$(BIN)/python tests/benchmarks/bench_coast.py
	$(BIN)/python tests/benchmarks/bench_assess.py
	$(BIN)/python tests/benchmarks/bench_map.py
	$(BIN)/python tests/benchmarks/bench_plan.py

$(VENV)/installed: pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --editable .
	touch $@

$(VENV)/tested: $(VENV)/installed
	$(BIN)/python -m pip install --quiet --editable '.[test]'
	touch $@

clean:
	rm -rf $(VENV) maps/demo
