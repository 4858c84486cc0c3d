"""A site sheet written by the program: only where somebody asked for a new one."""

from __future__ import annotations

import csv
import io

from forecaster.season.quantities import plain_number
from forecaster.season.tables import Table, safe_text


def written_sheet(table: Table) -> bytes:
    """The table as a CSV file that spreadsheet programs open: UTF-8 with a byte-order mark.

    Texts that would start a formula are made safe, numbers stay as they are. A table with decimal commas
    keeps its semicolons, which is how its readers know.
    """
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=";" if table.decimal_comma else ",", lineterminator="\r\n")
    writer.writerow(table.columns)
    for row in table.rows:
        cells = [row.cells.get(column, "") for column in table.columns]
        writer.writerow([_safe(cell, decimal_comma=table.decimal_comma) for cell in cells])
    return text.getvalue().encode("utf-8-sig")


def _safe(cell: str, *, decimal_comma: bool) -> str:
    return cell if plain_number(cell, decimal_comma=decimal_comma) is not None else safe_text(cell)
