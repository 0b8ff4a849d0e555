"""What the benchmarks share: the command line, shares with Monte Carlo error, the printing."""

from __future__ import annotations

import argparse
import json
import os
import platform
import time
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import scipy


def arguments(description: str) -> argparse.Namespace:
    """--quick and --json."""
    parser = argparse.ArgumentParser(description=description.strip().splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="fewer trials, for a first look")
    parser.add_argument("--json", action="store_true", help="print data instead of text")
    return parser.parse_args()


def machine() -> dict[str, Any]:
    """What the figures were measured on."""
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else None
    return {
        "cores": os.cpu_count(),
        "python": platform.python_version(),
        "numpy": np.__version__,
        "scipy": scipy.__version__,
        "load_at_start": load,
    }


def share(hits: np.ndarray) -> dict[str, float]:
    """The share of True and its Monte Carlo error."""
    value = float(np.mean(hits))
    return {"share": value, "mc_error": float(np.sqrt(value * (1 - value) / np.size(hits)))}


def mean(values: np.ndarray) -> dict[str, float]:
    """The mean of independent values and its Monte Carlo error."""
    spread = float(np.std(values, ddof=1) / np.sqrt(np.size(values)))
    return {"mean": float(np.mean(values)), "mc_error": spread}


def timed(action: Callable[[], Any]) -> tuple[float, float, Any]:
    """Wall seconds, CPU seconds of this process, and the result."""
    wall, cpu = time.perf_counter(), time.process_time()
    result = action()
    return time.perf_counter() - wall, time.process_time() - cpu, result


def emit(result: dict[str, Any], lines: Sequence[str], as_json: bool) -> None:
    """Print data or text."""
    print(json.dumps(result, indent=1) if as_json else "\n".join(lines))
