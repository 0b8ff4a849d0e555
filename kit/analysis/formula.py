"""The right-hand side of a linear model, read from the notation of Wilkinson and Rogers.

Source of the notation: Wilkinson & Rogers (1973), Applied Statistics 22, 392-399,
with ``:`` for the interaction (their dot) as later software writes it.

    a + b        both terms
    a : b        the interaction alone
    a * b        a + b + a:b
    a / b        a + a:b  (b nested in a)
    (a + b)^2    all terms up to two variables
    a*b - a:b    take a term away
    1, 0         the intercept (there unless taken away), no intercept

A name is a word (letters, digits, ``_`` and ``.``, any alphabet, Python keywords
included) or anything between back-quotes: ```dose (g)```.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from kit.errors import ModelError

Term = frozenset[str]
INTERCEPT: Term = frozenset()
_TOKEN = re.compile(r"\s*(?:(`[^`]+`)|([^\W\d][\w.]*)|(\d+)|(\*\*|[-+:*/^()]))")
_HIGHEST_POWER = 9


@dataclass(frozen=True)
class Formula:
    """The terms of a right-hand side, by number of variables and then as written.

    ``terms`` holds each term as a tuple of column names; the intercept is apart.
    """

    text: str
    intercept: bool
    terms: tuple[tuple[str, ...], ...]

    @property
    def variables(self) -> tuple[str, ...]:
        """Every column named, once, in the order of the terms."""
        return tuple(dict.fromkeys(name for term in self.terms for name in term))


def parse_formula(text: str) -> Formula:
    """Read a right-hand side such as ``"method + beverage_g"``.

    Raises
    ------
    ModelError
        When the text is not such a formula; the message marks the place.
    """
    if not isinstance(text, str) or not text.strip():
        raise ModelError(
            'The model formula is empty. Write at least "1" for one common mean, '
            'or the columns to compare, as in "method" or "method + beverage_g".'
        )
    parser = _Parser(text)
    terms = parser.whole()
    order = {name: i for i, name in enumerate(parser.names)}
    written = sorted((t for t in terms if t), key=len)
    return Formula(
        text=text.strip(),
        intercept=INTERCEPT in terms,
        terms=tuple(tuple(sorted(t, key=order.__getitem__)) for t in written),
    )


class _Parser:
    """Recursive descent: sum < cross and nest < interaction < power < atom.

    A set of terms is a dict without values, so that the order of writing is kept.
    """

    def __init__(self, text: str) -> None:
        self.text = text
        self.names: list[str] = []
        self.tokens = self._scan()
        self.at = 0

    def _scan(self) -> list[tuple[str, int]]:
        tokens, place, text = [], 0, self.text.rstrip()
        while place < len(text):
            match = _TOKEN.match(text, place)
            if match is None:
                raise self._error("this sign has no meaning in a formula", place)
            tokens.append((match.group().strip(), match.end() - len(match.group().strip())))
            place = match.end()
        return tokens

    def _error(self, problem: str, place: int) -> ModelError:
        marked = f"{self.text[:place]}»{self.text[place:]}"
        return ModelError(
            f"The model formula cannot be read: {problem} at the mark »: {marked}. "
            "Use column names with + (and), : (interaction), * (both and their interaction); "
            "names with spaces go between back-quotes. Functions are not known here: "
            "make a column of the computed values first."
        )

    def _peek(self) -> str:
        return self.tokens[self.at][0] if self.at < len(self.tokens) else ""

    def _place(self) -> int:
        return self.tokens[self.at][1] if self.at < len(self.tokens) else len(self.text)

    def _take(self) -> str:
        token = self._peek()
        self.at += 1
        return token

    def whole(self) -> dict[Term, None]:
        terms = self._sum({INTERCEPT: None})
        if self._peek():
            raise self._error("an operator is missing", self._place())
        return terms

    def _sum(self, terms: dict[Term, None]) -> dict[Term, None]:
        sign = self._take() if self._peek() in ("+", "-") else "+"
        while True:
            if self._peek() == "0":
                self._take()
                sign, part = ("-" if sign == "+" else "+"), {INTERCEPT: None}
            else:
                part = self._product()
            terms = terms | part if sign == "+" else {t: None for t in terms if t not in part}
            if self._peek() not in ("+", "-"):
                return terms
            sign = self._take()

    def _product(self) -> dict[Term, None]:
        left = self._interaction()
        while self._peek() in ("*", "/"):
            operator = self._take()
            right = self._interaction()
            if operator == "*":
                left = left | right | _crossed(left, right)
            else:
                left = left | _crossed({frozenset().union(*left): None}, right)
        return left

    def _interaction(self) -> dict[Term, None]:
        left = self._power()
        while self._peek() == ":":
            self._take()
            left = _crossed(left, self._power())
        return left

    def _power(self) -> dict[Term, None]:
        base = self._atom()
        while self._peek() in ("^", "**"):
            self._take()
            place, exponent = self._place(), self._take()
            if not exponent.isdigit() or not 1 <= int(exponent) <= _HIGHEST_POWER:
                raise self._error("a power must be a whole number from 1 to 9", place)
            raised = base
            for _ in range(int(exponent) - 1):
                raised = raised | _crossed(raised, base)
            base = raised
        return base

    def _atom(self) -> dict[Term, None]:
        place, token = self._place(), self._take()
        if token == "(":
            inner = self._sum({})
            if self._take() != ")":
                raise self._error("a closing bracket is missing", self._place())
            if self._peek() == "(":
                raise self._error("an operator is missing", self._place())
            return inner
        if token == "1":
            return {INTERCEPT: None}
        if not token or token in "+-:*/^)**" or token.isdigit():
            raise self._error("a column name is missing", place)
        name = token.strip("`")
        if self._peek() == "(":
            raise self._error(f'"{name}(" looks like a function', place)
        if name not in self.names:
            self.names.append(name)
        return {frozenset({name}): None}


def _crossed(left: dict[Term, None], right: dict[Term, None]) -> dict[Term, None]:
    return {a | b: None for a in left for b in right}
