"""Tables for the screen that a screen reader can walk through: caption, column and row heads."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from numbers import Real

import pandas as pd
from markupsafe import Markup, escape

from kit.numerals import say_number


def list_items(sentences: Iterable[str]) -> Markup:
    """The entries of a list, escaped, one a sentence."""
    return Markup("").join(Markup("<li>{}</li>").format(sentence) for sentence in sentences)


def html_table(frame: pd.DataFrame, caption: str, decimals: Mapping[str, int] | None = None) -> str:
    """``frame`` as an HTML table: column names as heads, the first column as row heads.

    Numbers are right-aligned and written with ``decimals`` of their column (2 where not given;
    whole numbers none); a missing value is a dash. All text is escaped.
    """
    places = decimals or {}
    numeric = {name: pd.api.types.is_numeric_dtype(frame[name]) for name in frame.columns}
    head = Markup("").join(_cell("th", name, numeric[name], "col") for name in frame.columns)
    body = Markup("").join(
        Markup("<tr>{}</tr>").format(
            Markup("").join(
                _cell(
                    "th" if column == 0 else "td",
                    _written(value, places.get(name, 2)),
                    numeric[name],
                    "row" if column == 0 else "",
                )
                for column, (name, value) in enumerate(zip(frame.columns, values, strict=True))
            )
        )
        for values in frame.itertuples(index=False, name=None)
    )
    # A table wider than the page scrolls in its own box, which the keyboard can reach.
    return str(
        Markup(
            '<div class="kit-table" tabindex="0" role="region" aria-label="{caption}"><table>'
            "<caption>{caption}</caption><thead><tr>{head}</tr></thead><tbody>{body}</tbody>"
            "</table></div>"
        ).format(caption=caption, head=head, body=body)
    )


def _cell(tag: str, text: object, number: bool, scope: str) -> Markup:
    side = Markup(' class="kit-number-cell"') if number else Markup("")
    reach = Markup(' scope="{}"').format(scope) if scope else Markup("")
    return Markup("<{0}{1}{2}>{3}</{0}>").format(Markup(tag), reach, side, escape(text))


def _written(value: object, decimals: int) -> str:
    if value is None or (not isinstance(value, str) and pd.isna(value)):  # type: ignore[call-overload]
        return "–"
    if isinstance(value, Real) and not isinstance(value, bool):
        number = float(value)
        return say_number(number, 0 if number == round(number) and _is_whole(value) else decimals)
    return str(value)


def _is_whole(value: Real) -> bool:
    return hasattr(value, "__index__")
