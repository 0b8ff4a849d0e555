"""Commands before the first shot: plan, schedule, freeze."""

from __future__ import annotations

import secrets
from datetime import datetime
from pathlib import Path

from kit.cli.answer import Answer
from kit.trial import read_trial


def plan(folder: Path) -> Answer:
    """The answer table, the sentences that say it all, and the cost."""
    from kit.cli.path import laid_out
    from kit.planning.answers import answer_sentences, answer_table
    from kit.planning.budget import cost_of, over_budget
    from kit.planning.plan_page import answer_rows
    from kit.planning.taste_answers import taste_sentences
    from kit.planning.variance import noise_assumed

    trial = read_trial(folder)
    layout = laid_out(folder, trial)
    table = answer_table(trial, layout)
    sentences = [*answer_sentences(trial, layout), *taste_sentences(trial)]
    cost = cost_of(trial)
    spent = (
        f"{cost.pulls} pulls in {cost.sessions} sessions: {cost.coffee_g:,.0f} g of coffee, "
        f"{cost.minutes / 60:.1f} hours."
    )
    warnings = over_budget(trial)
    lines = [
        trial.question,
        "",
        *_aligned(answer_rows(table)),
        "",
        *sentences,
        "",
        noise_assumed(trial.noise).sentence(),
        spent,
        *warnings,
        *table.remarks,
    ]
    data = {
        "answers": table.table.to_dict("records"),
        "sentences": sentences,
        "cost": vars(cost) | {"pulls": cost.pulls},
        "over_budget": warnings,
    }
    return Answer("\n".join(lines), data)


def schedule(folder: Path, seed: int | None) -> Answer:
    """Draw the run order and write schedule.csv; refused once the plan is sealed."""
    from kit.schedule import SCHEDULE_FILE, certificate, make_schedule

    used = secrets.randbelow(2**31) if seed is None else seed
    table = make_schedule(folder, used)
    trial = read_trial(folder)
    path = folder / SCHEDULE_FILE
    words = certificate(trial, table).words()
    text = f"Drawn with seed {used}: {len(table)} pulls.\n{path}\n\n{words}"
    return Answer(text, {"seed": used, "pulls": len(table), "schedule": str(path)})


def _aligned(rows: list[list[str]]) -> list[str]:
    """A table as text, columns flush."""
    widths = [max(len(row[at]) for row in rows) for at in range(len(rows[0]))]
    return [
        "  ".join(
            cell.ljust(width) if at == 0 else cell.rjust(width)
            for at, (cell, width) in enumerate(zip(row, widths, strict=True))
        )
        for row in rows
    ]


def freeze(folder: Path) -> Answer:
    """Seal plan and schedule with their hashes and the time."""
    from kit.schedule import freeze_trial

    sealed = freeze_trial(folder, datetime.now().astimezone())
    text = (
        f"Sealed at {sealed.at}. Seal: {sealed.short}\n"
        "Show this seal on camera or post it before the first shot; anybody can check your "
        "bundle against it afterwards."
    )
    return Answer(text, {"seal": sealed.short, "at": sealed.at})
