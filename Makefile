# `make demo` and `make test` each work as the only command on a fresh machine.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

# The tests start Python many times: what it compiled once it keeps, whatever the caller's shell says.
export PYTHONDONTWRITEBYTECODE :=

.PHONY: demo docs test lint suite search coverage mutants mutants-sample fuzz bench clean

demo: $(VENV)/installed
	$(BIN)/saltreach demo --out maps/demo
	@echo "Open the map: maps/demo/map.html"

docs: $(VENV)/documented
	$(BIN)/python -m sphinx --fail-on-warning --fresh-env --quiet src/docs build/docs
	@echo "Open the documentation: build/docs/index.html"

test: $(VENV)/tested
	$(MAKE) --jobs 2 lint suite

suite: $(VENV)/tested
	$(BIN)/python tests/helpers/ensure_browser.py
	$(BIN)/python tests/helpers/database.py
	$(BIN)/python -m pytest --numprocesses auto --dist loadfile --no-loadscope-reorder

lint: $(VENV)/tested
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

search: $(VENV)/tested
	$(BIN)/python -m pytest --numprocesses auto -m search
	$(BIN)/python -m pytest --numprocesses auto tests/property --hypothesis-profile search

# Every process that a test starts or forks is counted. It takes longer than the suite alone.
coverage: $(VENV)/tested
	$(BIN)/python tests/helpers/ensure_browser.py
	$(BIN)/python tests/helpers/database.py
	$(BIN)/python -m coverage erase
	$(BIN)/python -m coverage run -m pytest --numprocesses auto --dist loadfile --no-loadscope-reorder
	$(BIN)/python tests/helpers/branches.py

# One change at a time of a rule or a number: does a test fail? All take hours, the sample minutes.
mutants: $(VENV)/tested
	$(BIN)/python tests/mutants --record build/mutants.json

mutants-sample: $(VENV)/tested
	$(BIN)/python tests/mutants --sample 0.004

# Two thousand broken files of every format: does one end in anything but a clear word?
fuzz: $(VENV)/tested
	$(BIN)/python tests/fuzz --record build/fuzz/found.json

# All, or some: make bench BENCH='read assess', BENCH=--quick.
bench: $(VENV)/benched
	$(BIN)/python tests/helpers/ensure_browser.py
	$(BIN)/python tests/benchmarks $(BENCH)

$(VENV)/installed: pyproject.toml
	$(call install,.)
	touch $@

$(VENV)/documented: pyproject.toml
	$(call install,.[docs])
	touch $(VENV)/installed $@

$(VENV)/tested: pyproject.toml
	$(call install,.[test])
	touch $(VENV)/installed $(VENV)/documented $@

$(VENV)/benched: pyproject.toml
	$(call install,.[bench])
	touch $(VENV)/installed $(VENV)/documented $(VENV)/tested $@

# uv takes a fraction of pip's time; where it does not reach what pip reaches, pip does it.
define install
	$(PYTHON) -m venv --without-pip $(VENV) \
		&& $(PYTHON) -m pip --python $(BIN)/python install --quiet uv \
		&& UV_NATIVE_TLS=true $(BIN)/uv pip install --quiet --python $(BIN)/python --editable '$(1)' \
		|| { $(PYTHON) -m venv $(VENV) \
			&& $(BIN)/python -m pip install --quiet --no-compile --editable '$(1)'; }
endef

clean:
	rm -rf $(VENV) build maps/demo
