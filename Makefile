# Two commands do everything on a machine with Python 3.11 or later and make:
#   make demo   installs into .venv and runs the whole job on the sample site and fleet
#   make test   installs into .venv and runs lint, types and all tests

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
INSTALL := $(BIN)/python -m pip install --quiet --disable-pip-version-check

.PHONY: demo test lint sample sample-fleet world world-long fuzz fuzz-review fuzz-dialects guess-rates bench accuracy check-clocks check-inferred check-channels check-unusual check-ranking diagnosis fleet-bench check-cluster docs clean kill at-once mutate mutate-python

$(VENV)/run.stamp: pyproject.toml constraints.txt
	$(PYTHON) -m venv $(VENV)
	$(INSTALL) --constraint constraints.txt --editable .
	touch $@

$(VENV)/dev.stamp: pyproject.toml constraints.txt
	$(PYTHON) -m venv $(VENV)
	$(INSTALL) --constraint constraints.txt --editable '.[dev]'
	touch $@

demo: $(VENV)/run.stamp
	$(BIN)/zonetrail demo

test: lint
	$(BIN)/python -m pytest -n auto --dist loadfile

lint: $(VENV)/dev.stamp
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

# The sample site again from its simulator, byte for byte
sample: $(VENV)/dev.stamp
	$(BIN)/python -m sample_data.simulator.make

# The sample fleet again from the simulated world, byte for byte: a few minutes
sample-fleet: $(VENV)/dev.stamp
	$(BIN)/python -m sample_data.fleet.make

# The simulated world's catalogue: a line and a picture per system, in out/world/
world: $(VENV)/dev.stamp
	$(BIN)/python -m sample_data.world

# The long form of the world's tests: every condition at its stronger severities, 100 healthy systems
world-long: $(VENV)/dev.stamp
	$(BIN)/python -m pytest -m slow tests/world

# Ten thousand random combinations of dialect, encoding, dates, units and noise, read back
fuzz-dialects: $(VENV)/dev.stamp
	$(BIN)/python -m pytest -m slow tests/test_ingest_dialects.py

# Bent exports and site files, 200,000 of them: refused with a message or every row accounted for.
# Half an hour; FUZZ="--inputs 2000 --seed 5" for a short look at other ones
fuzz: $(VENV)/dev.stamp
	$(BIN)/python -m tests.hardening.fuzz $(FUZZ)

# Bent inputs all the way to page and review.json, 2,000 of them: an hour of one core
fuzz-review: $(VENV)/dev.stamp
	$(BIN)/python -m tests.hardening.fuzz_review $(FUZZ)

# Loads, reviews and fleets killed at random moments, 300 of them
kill: $(VENV)/dev.stamp
	$(BIN)/python -m tests.hardening.kill

# Two runs at once on one folder, 200 pairs
at-once: $(VENV)/dev.stamp
	$(BIN)/python -m tests.hardening.at_once

# The stages' SQL bent in one place at a time: which bends the hand-made cases do not notice
mutate: $(VENV)/dev.stamp
	$(BIN)/python -m tests.hardening.sql_mutants $(MUTATE)

# The counting of rows and the findings bent in one place at a time, each against the tests that see it
mutate-python: $(VENV)/dev.stamp
	$(BIN)/python -m tests.hardening.python_mutants $(MUTATE)

# How often inspect's guesses are right, not sure, or wrong and confident: corpus and simulated world
guess-rates: $(VENV)/dev.stamp
	$(BIN)/python -m pytest -q -m slow tests/test_guess_rates.py

# How right the measures are, on the reporting part of the simulated world; figures in out/accuracy/
accuracy: $(VENV)/dev.stamp
	$(BIN)/python -m tests.accuracy --part reporting

# How far off runs are that are inferred from supply and return temperature, on the reporting part
check-inferred: $(VENV)/dev.stamp
	$(BIN)/python -m tests.accuracy.inferred --part reporting

# How often clock offsets are found, left open or wrong, on the reporting part of the simulated world
check-clocks: $(VENV)/dev.stamp
	$(BIN)/python -m tests.accuracy.clocks --part reporting

# How right the findings are, on the reporting part of the simulated world; outcomes in out/diagnosis/
diagnosis: $(VENV)/dev.stamp
	$(BIN)/python -m tests.accuracy.diagnosis --part reporting

# How often faults of channels are found, missed or told where there are none, on systems that no
# threshold was chosen by
check-channels: $(VENV)/dev.stamp
	$(BIN)/python -m tests.accuracy.channels --part reporting --jobs 2

# Our load and measures beside DuckDB's reader, a pandas and a polars script, with growth and a profile;
# half an hour on two cores. make bench FORM=short for a look, FORM=long for 400 sites and 10^8 readings
FORM ?= middle
bench: $(VENV)/dev.stamp
	$(BIN)/python tests/benchmarks/bench.py --form $(FORM)

# What a fleet costs: 50, 200 and 1,000 sites of a week, a day more on 28 days; hours. For a short look:
# python tests/benchmarks/fleet_bench.py --sites 10 --rounds 1 --added-day 0
fleet-bench: $(VENV)/dev.stamp
	$(BIN)/python tests/benchmarks/fleet_bench.py

# A fleet on a Dask cluster with a worker killed in the middle gives what one process gives
check-cluster: $(VENV)/dev.stamp
	$(BIN)/python -m pytest -q -m slow tests/test_fleet_cluster.py

# How many of a fleet's faulty houses stand in the first third of its list, on the reporting part
check-ranking: $(VENV)/dev.stamp
	$(BIN)/python -m tests.accuracy.ranking --part reporting

# How often unusual days, changes that stay and unusual sites are told, missed or told where there
# are none: years drawn from days of the simulated world's reporting part
check-unusual: $(VENV)/dev.stamp
	$(BIN)/python -m tests.accuracy.unusual --part reporting

# The generated parts of DEVELOPERS.md
docs: $(VENV)/run.stamp
	$(BIN)/zonetrail stages --write-docs

clean:
	rm -rf $(VENV) zonetrail-demo build dist
