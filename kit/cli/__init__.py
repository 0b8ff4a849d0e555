"""The command ``fairpull``: every step of a trial without a notebook.

Errors are one clear sentence and exit code 2, never a traceback. What nobody foresaw is written
to a file, with its details, for whoever is asked to help.
"""

from __future__ import annotations

import importlib
import json
import os
import sys
import tempfile
import traceback
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from kit.cli.answer import Answer
from kit.cli.parser import build_parser
from kit.errors import KitError

REFUSED = 2


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code (0 done, 1 checks failed, 2 refused)."""
    _speak_utf8()
    _keep_to_one_thread()
    words = sys.argv[1:] if arguments is None else list(arguments)
    as_json = "--json" in words
    try:
        options = vars(build_parser().parse_args(words))
        module, function = options.pop("run").split(":")
        del options["command"], options["json"]
        answer = getattr(importlib.import_module(module), function)(**options)
    except KitError as refusal:
        return _refuse(str(refusal), as_json)
    except KeyboardInterrupt:
        return _refuse("Stopped. What was written so far is kept.", as_json)
    except Exception:
        return _refuse(_unforeseen(), as_json)
    _print_answer(answer, as_json)
    return answer.exit_code


def _keep_to_one_thread() -> None:
    """The matrices here are small: threads of the linear algebra library would only wait."""
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")


def _speak_utf8() -> None:
    """A terminal in another encoding must not turn ± or − into an error."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(encoding="utf-8", errors="replace")


def _print_answer(answer: Answer, as_json: bool) -> None:
    try:
        if as_json:
            print(json.dumps(answer.data, ensure_ascii=False, indent=1, default=_plain))
        elif answer.text:
            print(answer.text)
        sys.stdout.flush()
    except BrokenPipeError:
        # The reader (a pager, head) has seen enough.
        sys.stdout = open("/dev/null", "w") if Path("/dev/null").exists() else sys.__stdout__  # noqa: SIM115


def _plain(value: Any) -> Any:
    """Numbers of numpy, paths and times as plain JSON values."""
    if hasattr(value, "item"):
        return value.item()
    return str(value)


def _refuse(sentence: str, as_json: bool) -> int:
    if as_json:
        print(json.dumps({"error": sentence}, ensure_ascii=False))
    else:
        print(sentence, file=sys.stderr)
    return REFUSED


def _unforeseen() -> str:
    with tempfile.NamedTemporaryFile(
        "w", prefix="fairpull-", suffix=".log", delete=False, encoding="utf-8"
    ) as log:
        log.write(traceback.format_exc())
    return (
        "Something went wrong that fairpull did not foresee. Your files are as they were. "
        f"The details are in {log.name}; send that file along when you ask for help."
    )
