"""Aligned text: columns as wide as their longest cell, cut to the width of the screen, plain ASCII on demand.

Widths are counted in screen cells (wide signs count two, accents none), so that a customer's name in any
script keeps the columns straight.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

PLAIN = {"±": "+-", "–": "-", "—": "-", "°": " ", "…": "~", "“": '"', "”": '"', "‘": "'", "’": "'"}
"""What stands for a sign in ASCII; "~" ends a text that was cut."""


FLEXIBLE_AT_LEAST = 9
"""Cells that the flexible column never falls below."""


@dataclass(frozen=True)
class Column:
    """A column of a text table; its head has two lines, parted by a line break.

    `at_most` cuts its cells [cells]; `flexible` marks the one that takes what is left; `drop` is the order
    in which columns leave a narrow screen (1 first, 0 never).
    """

    head: str
    right: bool = False
    at_most: int = 99
    flexible: bool = False
    drop: int = 0


@dataclass(frozen=True)
class Layout:
    """Columns with their widths [cells] and the gap between them."""

    columns: tuple[Column, ...]
    widths: dict[int, int]
    gap: int

    @property
    def left_out(self) -> tuple[str, ...]:
        """Heads of the columns for which the screen was too narrow."""
        return tuple(
            " ".join(column.head.split())
            for index, column in enumerate(self.columns)
            if index not in self.widths
        )

    def head_lines(self) -> tuple[str, ...]:
        """The two lines of heads."""
        heads = [column.head.split("\n") for column in self.columns]
        return tuple(self.line([head[line] for head in heads]) for line in (0, 1))

    def line(self, cells: Sequence[str]) -> str:
        """One row, without trailing spaces."""
        parts = [
            fit(cells[index], width, right=self.columns[index].right) for index, width in self.widths.items()
        ]
        return (" " * self.gap).join(parts).rstrip()


def fitted(columns: Sequence[Column], tables: Sequence[Sequence[Sequence[str]]], *, width: int) -> Layout:
    """Widths for several tables that stand under each other with the same columns."""
    kept = list(range(len(columns)))
    while True:
        widths = {
            index: min(
                columns[index].at_most,
                max(
                    cell_width(cell)
                    for cell in (
                        *columns[index].head.split("\n"),
                        *(row[index] for rows in tables for row in rows),
                    )
                ),
            )
            for index in kept
        }
        flexible = [index for index in kept if columns[index].flexible]
        for gap in (2, 1):
            left = (
                width - sum(w for index, w in widths.items() if index not in flexible) - gap * (len(kept) - 1)
            )
            if left >= FLEXIBLE_AT_LEAST * len(flexible):
                for index in flexible:
                    widths[index] = min(widths[index], max(FLEXIBLE_AT_LEAST, left))
                return Layout(tuple(columns), widths, gap)
        droppable = [index for index in kept if columns[index].drop]
        if not droppable:
            return Layout(
                tuple(columns), {i: FLEXIBLE_AT_LEAST if i in flexible else w for i, w in widths.items()}, 1
            )
        kept.remove(min(droppable, key=lambda index: columns[index].drop))


def cell_width(text: str) -> int:
    """Width of a text on the screen [cells].

    >>> cell_width("池Pond"), cell_width("e\\u0301")
    (6, 1)
    """
    return sum(
        0
        if unicodedata.category(sign) in ("Mn", "Me")
        else 2
        if unicodedata.east_asian_width(sign) in "WF"
        else 1
        for sign in text
    )


def fit(text: str, width: int, *, right: bool = False) -> str:
    """The text in exactly `width` cells: padded, or cut with an ellipsis.

    >>> fit("Hazel Court", 8), fit("12 %", 6, right=True)
    ('Hazel C…', '  12 %')
    """
    if cell_width(text) > width:
        kept = ""
        for sign in text:
            if cell_width(kept + sign) > width - 1:
                break
            kept += sign
        text = f"{kept}…"
    space = " " * (width - cell_width(text))
    return f"{space}{text}" if right else f"{text}{space}"


def wrapped(text: str, *, width: int, indent: str = "", hanging: str | None = None) -> list[str]:
    """A sentence in lines of at most `width` cells; a word longer than a line is broken.

    >>> wrapped("closes 14-22 Oct, best Fri 17 Oct", width=18, indent="  ", hanging="    ")
    ['  closes 14-22', '    Oct, best Fri', '    17 Oct']
    """
    following = indent if hanging is None else hanging
    lines: list[str] = []
    line, empty = indent, True
    for word in text.split(" "):
        for piece in _pieces(word, width - cell_width(following)):
            if not empty and cell_width(line) + 1 + cell_width(piece) > width:
                lines.append(line)
                line, empty = following, True
            line += piece if empty else f" {piece}"
            empty = False
    return [*lines, line] if text else lines


def ascii_only(text: str) -> str:
    """The text in ASCII for a screen that shows no more; what has no equal becomes "?".

    >>> ascii_only("Café 52 ±3 °F 池")
    'Cafe 52 +-3 F ?'
    """
    plain = "".join(PLAIN.get(sign, sign) for sign in text.replace(" °", " "))
    parted = (
        sign
        for sign in unicodedata.normalize("NFKD", plain)
        if unicodedata.category(sign) not in ("Mn", "Me")
    )
    return "".join(sign if sign.isascii() else "?" for sign in parted)


def _pieces(word: str, width: int) -> list[str]:
    """The word, cut where it is longer than a line."""
    pieces = [""]
    for sign in word:
        if cell_width(pieces[-1] + sign) > width:
            pieces.append("")
        pieces[-1] += sign
    return pieces
