# make demo    hear the sample memos, read them, and write their job sheets into out/
# make reader  train the clause reader anew (needs hours, or a graphics card)
# make test    the style, the types and the tests
# make clean   remove what these made (the speech weights in the user's data folder stay)
#
# Nothing is assumed but make, git and Python 3.11 or newer; see tools/system for what else is installed. What has
# been set up is set up once: a stamp in .venv says so, and the second run needs no network.

VENV := .venv
BIN := $(VENV)/bin
PACKAGES := $(VENV)/stamp-packages
TEST_PACKAGES := $(VENV)/stamp-test-packages
SYSTEM := $(VENV)/stamp-system
OUTSIDE := .work/outside/stamp
BROWSER := .work/outside/stamp-browser
PIP := $(BIN)/python -m pip --disable-pip-version-check --quiet --timeout 60
INSTALL := $(PIP) install -c constraints.txt --no-build-isolation --use-pep517
MEMOS := $(addprefix sample_audio/,quarry_loader.m4a two_in_the_yard.ogg marsh_farm_cab.mp3 pumping_station.3gp)

READER := .work/reader

.PHONY: help demo test docs constraints reader clean
.DELETE_ON_ERROR:

help:
	@sed -n 's/^# \(make .*\)/\1/p' Makefile

demo: $(PACKAGES) $(SYSTEM)
	@$(BIN)/jobnotes setup
	@$(BIN)/jobnotes read $(MEMOS) --register sample_audio/register --out out --sheets \
		--firm sample_audio/firm.toml --engineer "Tamsin Quill"

test: $(TEST_PACKAGES) $(SYSTEM) $(OUTSIDE) $(BROWSER)
	@$(BIN)/jobnotes setup
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/pytest

# The help of the commands and the JSON Schema, as they stand in docs/.
docs: $(TEST_PACKAGES)
	$(BIN)/python docs/write.py

constraints: $(TEST_PACKAGES)
	@sed '/^#/!d' constraints.txt > constraints.new
	@$(PIP) freeze --all --exclude-editable --exclude pip --exclude wheel | grep -v '^#' | sort -f >> constraints.new
	@mv constraints.new constraints.txt

# The clause reader, as it is shipped: five trainings, a pupil of their mean, and one that learns from all six. Hours on a processor.
reader: $(TEST_PACKAGES)
	$(INSTALL) -e '.[train]'
	@mkdir -p $(READER)
	$(BIN)/python models/dataset.py $(READER)/data.json models/training/*/
	$(BIN)/python models/train_reader.py prepare $(READER)/encoder.npz
	$(BIN)/python models/train_reader.py prepare $(READER)/large.npz --large
	for seed in 1 2 3; do $(BIN)/python models/train_reader.py train $(READER)/data.json $(READER)/encoder.npz \
		$(READER)/$$seed.npz --rate 3e-4 --epochs 40 --batch 16 --seed $$seed || exit 1; done
	for seed in 4 5; do $(BIN)/python models/train_reader.py train $(READER)/data.json $(READER)/large.npz \
		$(READER)/$$seed.npz --rate 1e-4 --epochs 26 --batch 8 --seed $$seed || exit 1; done
	$(BIN)/python models/train_reader.py train $(READER)/data.json $(READER)/encoder.npz $(READER)/pupil.npz \
		--rate 4e-4 --epochs 55 --batch 16 --seed 11 \
		--teachers $(READER)/1.npz,$(READER)/2.npz,$(READER)/3.npz,$(READER)/4.npz,$(READER)/5.npz
	$(BIN)/python models/train_reader.py train $(READER)/data.json $(READER)/encoder.npz $(READER)/reader.npz \
		--rate 4e-4 --epochs 55 --batch 16 --seed 12 \
		--teachers $(READER)/1.npz,$(READER)/2.npz,$(READER)/3.npz,$(READER)/4.npz,$(READER)/5.npz,$(READER)/pupil.npz
	$(BIN)/python models/train_reader.py export $(READER)/reader.npz models/reader

$(BIN)/python:
	@tools/system python $(VENV)

# Building is pinned too, so nothing is built in a place of its own with the newest of everything.
$(PACKAGES): pyproject.toml constraints.txt | $(BIN)/python
	$(INSTALL) setuptools
	$(INSTALL) -e .
	@touch $@

$(TEST_PACKAGES): pyproject.toml constraints.txt | $(PACKAGES)
	$(INSTALL) -e '.[test]'
	@touch $@

# Pango, which sets the type of the sheets, is no Python package.
$(SYSTEM): | $(PACKAGES)
	@tools/system pango $(BIN)/python
	@touch $@

$(OUTSIDE): tests/outside/fetch.py | $(TEST_PACKAGES)
	$(BIN)/python tests/outside/fetch.py
	@touch $@

# A browser, and axe-core, for the tests of the desk.
$(BROWSER): tests/outside/fetch_axe.py | $(TEST_PACKAGES)
	@tools/system chromium
	$(BIN)/python tests/outside/fetch_axe.py
	@touch $@

clean:
	rm -rf $(VENV) .work .mypy_cache .pytest_cache .ruff_cache .hypothesis build dist out *.egg-info
	find . -name __pycache__ -type d -prune -exec rm -rf {} +
