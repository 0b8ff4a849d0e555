"""The parts of the plan page as HTML: the answer table first of all. All text is escaped."""

from __future__ import annotations

from collections.abc import Hashable
from typing import Any

import pandas as pd
from markupsafe import Markup

from kit.numerals import say_number
from kit.planning.answers import AnswerTable, say_chance
from kit.planning.taste_answers import TasteTable
from kit.widgets.tables import list_items

SIGNS = {"yes": "●", "maybe": "◐", "no": "○"}
ROUGH = "~"
LEGEND = (
    "● yes, 80 % or more · ◐ maybe, 50 % or more · ○ no. "
    "The chance is that of answering the question if the difference is real. "
    "Figures with ~ are less certain (few degrees of freedom, or a test without a closed form) and "
    "can be some points off: check them by simulation. All others are within about 2 points."
)
TASTE_LEGEND = (
    "Figures with ~ are less certain: few degrees of freedom, or several sets by one taster, who "
    "either can tell each time or never."
)


def answer_page(answers: AnswerTable) -> str:
    """The answer table: one row a question, one column a number of shots, own number marked."""
    caption = "Chance to answer each question, by shots of each method"
    legend = LEGEND
    if answers.noise_df is not None:
        legend += (
            " Chances are averaged over where the true SD may lie, as it is known from "
            f"{say_number(answers.noise_df, 0)} degrees of freedom."
        )
    table = _chances(answers.table, "shots", caption, answers.own_shots, "your plan")
    return str(table + Markup('<p class="kit-quiet">{}</p>').format(legend) + _remarks(
        answers.remarks
    ))  # fmt: skip


def taste_page(taste: TasteTable | None) -> str:
    """The same for what is tasted, by number of tasters; empty where nothing is."""
    if taste is None:
        return ""
    if taste.table.empty:
        return str(_remarks(taste.remarks))
    caption = "Chance to answer each taste question, by number of tasters"
    table = _chances(taste.table, "tasters", caption, taste.own_tasters, "your panel")
    legend = Markup('<p class="kit-quiet">{}</p>').format(TASTE_LEGEND)
    return str(table + legend + _remarks(taste.remarks))


def _chances(table: pd.DataFrame, count: str, caption: str, own: float, mine: str) -> Markup:
    counts = sorted(set(table[count]))
    head = Markup("").join(_head_cell(n, mine if n == own else "") for n in counts)
    body = Markup("").join(
        Markup('<tr><th scope="row">{}</th>{}</tr>').format(
            words, Markup("").join(_cell(row) for row in cells.to_dict("records"))
        )
        for words, cells in table.groupby("words", sort=False)
    )
    return Markup(
        '<div class="kit-table kit-answers" tabindex="0" role="region" aria-label="{caption}">'
        '<table><caption>{caption}</caption><thead><tr><th scope="col">Question</th>{head}</tr>'
        "</thead><tbody>{body}</tbody></table></div>"
    ).format(caption=caption, head=head, body=body)


def _remarks(remarks: tuple[str, ...]) -> Markup:
    if not remarks:
        return Markup("")
    entries = list_items(remarks)
    return Markup('<ul class="kit-list kit-quiet">{}</ul>').format(entries)


def headline_page(sentences: list[str], plan: str, too_much: list[str]) -> str:
    """The sentence that says it all, the plan it is about, and what exceeds the budget."""
    over = list_items(too_much)
    return str(
        Markup('<p class="kit-answer">{}</p><p class="kit-quiet">{}</p>{}').format(
            sentences[0] if sentences else "",
            plan,
            Markup('<ul class="kit-list kit-over">{}</ul>').format(over) if over else "",
        )
    )


def reasons_page(reasons: list[str]) -> str:
    """Why there is no answer, where the answer would stand."""
    if not reasons:
        return ""
    entries = list_items(reasons)
    return str(
        Markup(
            '<p class="kit-answer">There is no answer to this plan yet.</p>'
            '<ul class="kit-list kit-over">{}</ul>'
        ).format(entries)
    )


def values_page(rows: list[tuple[str, str]]) -> str:
    """Names and values side by side."""
    pairs = Markup("").join(
        Markup("<div><dt>{}</dt><dd>{}</dd></div>").format(name, value) for name, value in rows
    )
    return str(Markup('<dl class="kit-values">{}</dl>').format(pairs))


def list_page(sentences: list[str]) -> str:
    """Sentences as a list."""
    entries = list_items(sentences)
    return str(Markup('<ul class="kit-list">{}</ul>').format(entries))


def simulated_frame(answers: pd.DataFrame) -> pd.DataFrame:
    """Promised and simulated chances as text, for a table on the page."""
    return pd.DataFrame(
        {
            "Question": answers["words"],
            "Promised": [say_chance(chance) for chance in answers["promised"]],
            "Simulated": [
                _with_error(chance, error)
                for chance, error in zip(answers["chance"], answers["mc_error"], strict=True)
            ],
        }
    )


def headline_frame(headlines: pd.DataFrame) -> pd.DataFrame:
    """How often each headline would be wrong, as text."""
    return pd.DataFrame(
        {
            "Headline": headlines["headline"],
            "Would appear": [say_chance(share) for share in headlines["appears"]],
            "Would be wrong": [
                _with_error(share, error)
                for share, error in zip(headlines["wrong"], headlines["wrong_error"], strict=True)
            ],
        }
    )


def _with_error(chance: float, error: float) -> str:
    """A chance with its Monte Carlo error in points, where it has one."""
    shown = say_number(100 * error, 1)
    return say_chance(chance) if shown == "0.0" else f"{say_chance(chance)} ± {shown}"


def _head_cell(count: float, mine: str) -> Markup:
    shown = say_number(count, 0 if count == round(count) else 1)
    if not mine:
        return Markup('<th scope="col">{}</th>').format(shown)
    return Markup('<th scope="col" class="kit-own">{}<br>{}</th>').format(shown, mine)


def _cell(row: dict[Hashable, Any]) -> Markup:
    mark = str(row["mark"])
    chance = say_chance(row["chance"])
    rough = ""
    if row["reliability"] == "rough":
        # No “> 99 %”: a limit that is uncertain is none.
        rough, chance = ROUGH, f"{min(99, round(100 * row['chance']))} %"
    return Markup(
        '<td class="kit-{mark}{own}"><span aria-hidden="true">{sign}</span> {rough}{chance}'
        '<span class="kit-hidden"> {mark}</span></td>'
    ).format(
        mark=mark,
        own=" kit-own" if row["own"] else "",
        sign=SIGNS[mark],
        rough=rough,
        chance=chance,
    )
