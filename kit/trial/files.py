"""``trial.toml`` in and out, with the person's comments kept and mistakes said in words."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Container
from pathlib import Path
from typing import Any

import tomlkit
from pydantic import BaseModel, ValidationError
from tomlkit.items import AoT

from kit.errors import PlanError
from kit.files import read_text, write_atomically
from kit.trial.model import Trial

TRIAL_FILE = "trial.toml"


def read_trial(folder: Path) -> Trial:
    """The trial of a folder (or of a ``trial.toml`` given directly).

    Raises
    ------
    DataError
        If the file is missing or is not text.
    PlanError
        If it is not valid TOML, or the trial cannot be as described; every mistake is named.
    """
    path = folder / TRIAL_FILE if folder.is_dir() else folder
    return trial_from_toml(read_text(path), file=path.name)


def trial_from_toml(text: str, file: str = TRIAL_FILE) -> Trial:
    """The trial described by TOML text; ``file`` is named in messages."""
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise PlanError(
            f"{file} is not valid TOML: {error}. Text needs quotes, numbers use a decimal point, "
            "and every table starts with its name in square brackets."
        ) from error
    try:
        return Trial.model_validate(values)
    except ValidationError as error:
        raise PlanError("\n".join(_sentences(error, file))) from error


def write_trial(trial: Trial, folder: Path) -> Path:
    """Write ``trial.toml`` in one step; comments of a file that is already there are kept."""
    path = folder / TRIAL_FILE
    before = read_text(path) if path.exists() else ""
    return write_atomically(path, trial_to_toml(trial, before))


def trial_to_toml(trial: Trial, before: str = "") -> str:
    """The trial as TOML; ``before`` is an earlier text whose comments are to be kept."""
    values = trial.model_dump(mode="json", exclude_none=True)
    document = tomlkit.parse(before) if before else tomlkit.document()
    _merge(document, values)
    return tomlkit.dumps(document)


def _merge(target: Any, values: dict[str, Any]) -> None:
    """Set changed keys only, so that comments and order of everything else stay."""
    for gone in [key for key in target if key not in values]:
        del target[gone]
    for key, value in values.items():
        if isinstance(value, dict) and isinstance(target.get(key), dict):
            _merge(target[key], value)
        elif isinstance(target.get(key), AoT) and _is_list_of_tables(value):
            _merge_blocks(target[key], value)
        elif key not in target or target[key] != value:
            target[key] = _toml_item(value)


def _merge_blocks(blocks: AoT, entries: list[dict[str, Any]]) -> None:
    """Bring ``[[…]]`` blocks in line with ``entries``: blocks that stay keep their comments.

    With as many entries as blocks each block is changed in its place (a renamed method keeps its
    notes); otherwise blocks that name nothing any more go first, and new ones are put at the end.
    """
    if len(entries) != len(blocks):
        named = [_block_name(entry) for entry in entries]
        for place in reversed(range(len(blocks))):
            if _block_name(blocks[place]) not in named:
                del blocks[place]
    for block, entry in zip(blocks, entries, strict=False):
        _merge(block, _spoken(entry, block))
    for entry in entries[len(blocks) :]:
        block = tomlkit.item(_spoken(entry, ()))
        block.add(tomlkit.nl())
        blocks.append(block)
    while len(blocks) > len(entries):
        del blocks[len(blocks) - 1]


def _spoken(entry: dict[str, Any], there: Container[str]) -> dict[str, Any]:
    """A key that says nothing (no recipe, no setting, not the control) is not written down."""
    return {k: v for k, v in entry.items() if k in there or v not in ("", False, {})}


def _block_name(block: Any) -> tuple[Any, ...]:
    """What tells the blocks of one list apart: a name, or a measure with its aspect."""
    return tuple(block.get(key) for key in ("name", "measure", "aspect"))


def _is_list_of_tables(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(one, dict) for one in value)


def _toml_item(value: Any) -> Any:
    """A list of tables is written as ``[[…]]`` blocks: easier to read and to edit by hand."""
    if _is_list_of_tables(value):
        blocks = tomlkit.aot()
        for entry in value:
            blocks.append(tomlkit.item(entry))
        return blocks
    return tomlkit.item(value)


def _sentences(error: ValidationError, file: str) -> list[str]:
    """One sentence a mistake: where it stands, what was found, what would be right."""
    return [_sentence(mistake, file) for mistake in error.errors()]


def _sentence(mistake: Any, file: str) -> str:
    path = [part for part in mistake["loc"] if isinstance(part, (str, int))]
    where = _where(path)
    found = mistake.get("input")
    kind = mistake["type"]
    if kind == "missing":
        return f"{file}: {where} is missing. Add it."
    if kind == "extra_forbidden":
        close = difflib.get_close_matches(str(path[-1]), _known_keys(path[:-1]), n=1)
        hint = f"Did you mean “{close[0]}”?" if close else "Take it out or correct its name."
        return f"{file}: {where} is not a key this file has. {hint}"
    if kind == "value_error":
        return f"{file}: {where}: {mistake['ctx']['error']}."
    reason = mistake["msg"][0].lower() + mistake["msg"][1:]
    return f"{file}: {where} is {found!r}; {reason}. Correct it."


def _where(path: list[str | int]) -> str:
    """``layout.sessions``, ``methods, entry 2, name``: a place a person can find."""
    words: list[str] = []
    for part in path:
        words.append(f"entry {part + 1}" if isinstance(part, int) else part)
    return (
        ", ".join(words)
        if any(isinstance(part, int) for part in path)
        else ".".join(words) or "the trial"
    )


def _known_keys(path: list[str | int]) -> list[str]:
    """The keys that exist at a place in the file, for a hint at a misspelt one."""
    model: Any = Trial
    for part in path:
        if isinstance(part, int):
            continue
        model = _part_model(model, part)
        if model is None:
            return []
    return list(model.model_fields)


def _part_model(model: Any, key: str) -> type[BaseModel] | None:
    """The record type behind a key: itself, or the entries of a tuple."""
    annotation = model.model_fields[key].annotation if key in model.model_fields else None
    candidates = [annotation, *getattr(annotation, "__args__", ())]
    return next(
        (kind for kind in candidates if isinstance(kind, type) and issubclass(kind, BaseModel)),
        None,
    )
