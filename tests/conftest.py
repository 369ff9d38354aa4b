"""All tests run cold: nothing is recalled from an earlier run, and nothing is kept for a later one.

The tests of the memory itself name a folder of their own.
"""

from __future__ import annotations

import gc
import os
import sys

import pytest

os.environ["SYNTH_CACHE"] = ""


def pytest_configure(config: pytest.Config) -> None:
    """Let each of several processes begin with tests that stand side by side, which share what they
    make once. (Not said for all runs: benchmarks run in one process and refuse to hear of more.)"""
    if getattr(config.option, "dist", None) == "load":
        config.option.dist = "worksteal"


def pytest_collection_finish() -> None:
    """Leave the thousands of tests themselves out of every later search for garbage."""
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="session", autouse=True)
def _compiled_once(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Let processes that tests start share what they compile where this one is told to keep
    nothing: in a folder of the tests, so that no source has anything beside it."""
    if sys.dont_write_bytecode:
        folder = tmp_path_factory.getbasetemp()
        if "PYTEST_XDIST_WORKER" in os.environ:
            folder = folder.parent  # that of all workers
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        os.environ["PYTHONPYCACHEPREFIX"] = str(folder / "compiled")
