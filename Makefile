# Two commands matter: `make demo` and `make test`. Both set up what they need; a second run reuses it.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
READY := $(VENV)/ready
TEST_PROCESSES ?= 2
# One BLAS thread: the arrays here are small, and threads of the library would fight those of the tests.
export OMP_NUM_THREADS ?= 1
export OPENBLAS_NUM_THREADS ?= 1

.PHONY: demo example-study test install-check bench lint lock example tables properties docs clean help

help:
	@echo "make demo   set up, record a sweep from a simulated bench, study it, write demo-out/report.html"
	@echo "make example-study   study the example with two rotors, write example-out/report.html"
	@echo "make test   set up and run every test"
	@echo "make install-check   build wheel and sdist, install them into an empty environment, run them there"
	@echo "make bench  measure ratios, coverage and speed (takes minutes)"
	@echo "make docs   build the manual into build/manual"
	@echo "make lint   ruff and mypy"

$(READY): requirements.lock pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo "Edgewind needs Python 3.11 or newer; name one with: make PYTHON=python3.12 ..." >&2; exit 1; }
	@$(PYTHON) -c 'import ensurepip' 2>/dev/null || \
	  { echo "This Python has no venv module; on Debian and Ubuntu: apt-get install python3-venv" >&2; exit 1; }
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -r requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	@touch $@

demo: $(READY)
	$(BIN)/edgewind demo

example-study: $(READY)
	$(BIN)/edgewind study examples/two-rotors --out example-out --replace

# pytest keeps what it compiles of the tests, also where the environment keeps Python from that: five seconds a process.
test: export PYTHONDONTWRITEBYTECODE =
test: $(READY)
	@sh tools/ensure-browser
	@sh tools/ensure-postgres
	@$(BIN)/python -m compileall -q src  # the tests start hundreds of programs, also where Python may not write this
	$(BIN)/python -m pytest -n $(TEST_PROCESSES) --dist worksteal

# What an install without extras brings, in an environment that holds nothing else. What runs was installed from the sdist.
install-check: $(READY)
	rm -rf build/install && mkdir -p build/install/work
	$(BIN)/python -m hatchling build -d build/install/dist
	$(BIN)/python -m pip wheel --quiet --disable-pip-version-check --no-deps --no-build-isolation -w build/install/from-sdist build/install/dist/*.tar.gz
	sed -e 's/ \\$$//' -e '/--hash=/d' requirements.lock > build/install/constraints.txt
	$(PYTHON) -m venv --without-pip build/install/empty
	$(BIN)/python -m pip --python build/install/empty/bin/python install --quiet --disable-pip-version-check -c build/install/constraints.txt build/install/dist/*.whl
	$(BIN)/python -m pip --python build/install/empty/bin/python install --quiet --disable-pip-version-check --no-deps --force-reinstall build/install/from-sdist/*.whl
	du -sm build/install/empty
	cd build/install/work && for words in "new my-bench" "gas air 7mTorr" "study my-bench --quick --out my-report" "demo --quick"; do \
	  echo "edgewind $$words"; ../empty/bin/edgewind $$words > last.txt || { cat last.txt; exit 1; }; done

bench: $(READY)
	$(BIN)/python benchmarks/run.py --json docs/performance.json

lint: $(READY)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

example: $(READY)
	$(BIN)/python examples/make_two_rotors.py
	$(BIN)/python examples/make_reversal.py
	$(BIN)/python tools/make_template.py

# The response of the gas to vanes of the standard shapes.
tables: $(READY)
	$(BIN)/python tools/make_tables.py
	$(BIN)/python tools/make_rotor_tables.py
	$(BIN)/python tools/make_rotor_tables.py --fit
	$(BIN)/python tools/make_ratios.py thickness
	$(BIN)/python tools/make_ratios.py chamber
	$(BIN)/python tools/make_ratios.py accommodation
	$(BIN)/python tools/make_ratios.py wall_law
	$(BIN)/python tools/make_ratios.py unequal_wall_law
	$(BIN)/python tools/make_ratios.py internal_energy

# Viscosity, thermal conductivity and heat capacity of the gases, by temperature.
properties: $(READY)
	$(BIN)/python tools/make_properties.py

# The manual. Its page of checks against published values comes from the tests that make them, run first.
docs: $(READY)
	rm -rf build/published && mkdir -p build/published
	EDGEWIND_PUBLISHED=build/published $(BIN)/python -m pytest -n 2 -m published
	$(BIN)/python -m sphinx -W --keep-going -q -b html docs build/manual
	@echo "open build/manual/index.html"

# Needs `uv`; writes versions and hashes for every supported Python, and no address of any registry.
lock:
	uv pip compile pyproject.toml --extra dev --extra docs --universal --python-version 3.11 --generate-hashes \
	  --no-emit-index-url --no-emit-find-links --no-header --no-annotate -o requirements.lock

clean:
	rm -rf $(VENV) demo-out example-out
