"""Cells that a spreadsheet program shows and never runs: a customer may be called =HYPERLINK(...).

In a CSV file a text that would start a formula gets an apostrophe in front (`tables.safe_text`), and reading
the file takes it away again, so nothing is changed by a round trip. In a workbook the cell's own type says
that it is text.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from datetime import date

from forecaster.season.tables import safe_text

Value = str | float | int | date | None
Rows = Sequence[Mapping[str, Value]]


def csv_bytes(columns: Sequence[str], rows: Rows) -> bytes:
    """A CSV file: UTF-8 with a byte-order mark (so that spreadsheet programs read accents), comma, CRLF."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_csv_cell(row.get(column)) for column in columns])
    return text.getvalue().encode("utf-8-sig")


def xlsx_bytes(columns: Sequence[str], rows: Rows, *, title: str) -> bytes:
    """A workbook of one sheet: numbers and dates as such, every text as text."""
    from openpyxl import Workbook  # late: it takes longer than a command

    book = Workbook(write_only=False)
    sheet = book.active
    sheet.title = title[:31]
    sheet.freeze_panes = "A2"
    for column, name in enumerate(columns, start=1):
        _write(sheet.cell(1, column), name)
    for number, row in enumerate(rows, start=2):
        for column, name in enumerate(columns, start=1):
            value = row.get(name)
            if value is not None and value != "":
                _write(sheet.cell(number, column), value)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def shown_number(value: float) -> str:
    """A number with at most 6 decimals and no exponent.

    >>> shown_number(52.30000004), shown_number(12.0), shown_number(-0.0)
    ('52.3', '12', '0')
    """
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _csv_cell(value: Value) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return safe_text(value)
    return value.isoformat() if isinstance(value, date) else shown_number(value)


def _write(cell: object, value: Value) -> None:
    if isinstance(value, float):
        value = float(shown_number(value))
    cell.value = value  # type: ignore[attr-defined]  # openpyxl brings no types
    if isinstance(value, str):
        cell.data_type = "s"  # type: ignore[attr-defined]  # else "=..." would be a formula, "#N/A" an error
        cell.quotePrefix = value != safe_text(value)  # type: ignore[attr-defined]  # also when it is edited
    elif isinstance(value, date):
        cell.number_format = "yyyy-mm-dd"  # type: ignore[attr-defined]
