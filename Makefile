# The two commands of the README are `make run` and `make test`.
PLANT ?=
STATE ?= state
# Tests wait for most of their time: so many processes share them.
TOGETHER ?= 3
VENV := .venv
PYTHON := $(VENV)/bin/python

.PHONY: help run test lint containers soak bench mutants lock docs clean

help:
	@echo "make run [PLANT=my.yaml]   start everything; without PLANT, a simulated barn"
	@echo "make test                  install what the tests need, and run them all"
	@echo "make lint                  format check, lint, types, import arrows"
	@echo "make containers            build the image, and try the compose deployment (as root: starts an engine)"
	@echo "make soak                  the long versions: all seeds, 21 days, eight weeks"
	@echo "make bench                 every benchmark against its goal"
	@echo "make mutants               mutation testing of the parts that must not fail"
	@echo "make lock docs             generate the hashed requirements and the generated documents again"

run: $(VENV)/run
	@$(PYTHON) -m services.cli up --state $(STATE) $(if $(PLANT),--plant $(PLANT),)

test: $(VENV)/test
	@scripts/with-tools $(PYTHON) -m pytest -n $(TOGETHER) --dist loadfile --no-loadscope-reorder

lint: $(VENV)/test
	@$(VENV)/bin/ruff format --check .
	@$(VENV)/bin/ruff check .
	@$(VENV)/bin/mypy
	@$(VENV)/bin/lint-imports --no-cache

containers: $(VENV)/test
	@COLDSIDE_CONTAINERS=$${COLDSIDE_CONTAINERS:-wanted} scripts/with-tools $(PYTHON) -m pytest tests/containers

soak: $(VENV)/test
	@COLDSIDE_EXPLORE=1 scripts/with-tools $(PYTHON) -m pytest -m soak

bench: $(VENV)/test
	@scripts/with-tools $(PYTHON) -m benchmarks

mutants: $(VENV)/test
	@scripts/mutants

lock:
	@scripts/lock

docs: $(VENV)/test
	@$(PYTHON) -m scripts.documents

$(VENV)/bin/python:
	@scripts/environment

$(VENV)/run: $(VENV)/bin/python requirements/run.txt pyproject.toml
	@scripts/environment run

$(VENV)/test: $(VENV)/bin/python requirements/test.txt pyproject.toml
	@scripts/environment test

clean:
	rm -rf $(VENV) state .pytest_cache .mypy_cache .ruff_cache
