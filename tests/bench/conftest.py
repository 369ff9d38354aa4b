"""Options of the benchmark."""

from __future__ import annotations

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--plain-seconds",
        type=float,
        default=30.0,
        help="seconds of solving for each plain formulation in bench_others.py (default: 30)",
    )
