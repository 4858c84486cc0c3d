"""The store list and the spring list, on the screen and as CSV."""

from __future__ import annotations

import csv
import io

from forecaster.report.table import Column, ascii_only, fitted, wrapped
from forecaster.report.winter_cautions import ELECTRICITY, ICE, LIFTING
from forecaster.report.words import clean, count, day_month, listed, weekday_date
from forecaster.season.tables import safe_text
from forecaster.visit.store import StoredItem, StoreList

STATUS_WORDS = {
    "taken": "in the store",
    "not said": "not said",
    "left": "left at the pond",
    "back": "brought back",
    "to take": "to take",
}
CSV_COLUMNS = (
    *("site_id", "customer", "address", "item", "watts", "status", "day", "store", "keep", "two_to_lift"),
    "source",
)


def store_text(found: StoreList, *, unicode: bool, width: int = 100) -> str:
    """What was taken from where, as far as anybody said so, and what is not said."""
    lines = _head(found, "store list", width)
    if not found.items:
        lines += wrapped(
            "Nothing is in the store yet: no site with gear in the sheet is closed. --all lists what there "
            "is to take; forecaster gear records what a crew took.",
            width=width,
        )
    else:
        lines += ["", *_table(found.items, width)]
        lines += ["", *wrapped(_sums(found), width=width)]
    open_questions = [item for item in found.items if item.status == "not said"]
    if open_questions:
        ids = listed(dict.fromkeys(clean(item.site.site_id) for item in open_questions))
        text = f'Not said at {ids}: ask the crew, then forecaster gear FOLDER SITE "pump" records it.'
        lines += wrapped(text, width=width)
    if found.no_frost_free_store:
        ids = listed(clean(site.site_id) for site in found.no_frost_free_store)
        lines += wrapped(f"The store of {ids} is not frost-free by the sheet: find another.", width=width)
    lines += wrapped(LIFTING, width=width)
    return _finished(lines, unicode=unicode)


def spring_text(found: StoreList, *, unicode: bool, width: int = 100) -> str:
    """What goes back in spring, site by site, and what then comes out of the pond."""
    lines = _head(found, "spring list: what goes back", width)
    back = spring_items(found)
    if not back and not found.stays_on:
        lines += wrapped("Nothing is in the store, so nothing goes back.", width=width)
        return _finished(lines, unicode=unicode)
    if back:
        lines += ["", *_table(back, width)]
    out: dict[str, list[str]] = {}
    for site, name in found.stays_on:
        out.setdefault(name, []).append(clean(site.site_id))
    if out:
        lines.append("")
    for name, ids in out.items():
        lines += wrapped(f"Comes out of the pond: {name} at {listed(ids, at_most=40)}.", width=width)
    lines += wrapped(
        "Before anything runs: lines whole, check valve in, pump under water; UV lamp and seals looked at.",
        width=width,
    )
    for caution in (ELECTRICITY, LIFTING, ICE):
        lines += wrapped(caution, width=width)
    return _finished(lines, unicode=unicode)


def spring_items(found: StoreList) -> tuple[StoredItem, ...]:
    """What goes back: what is in the store, and what nobody said was left."""
    return tuple(item for item in found.items if item.status in ("taken", "not said"))


def _head(found: StoreList, title: str, width: int) -> list[str]:
    day = weekday_date(found.as_of, year=True)
    return wrapped(f"{clean(found.season_name)}: {title}, as of {day}. Sorted by site.", width=width)


def _table(items: tuple[StoredItem, ...], width: int) -> list[str]:
    columns = (
        Column("\nsite"),
        Column("\ncustomer", flexible=True),
        Column("\nthing"),
        Column("\nwatts", right=True),
        Column("\nwhere it is"),
        Column("\nsince"),
        Column("\nstore", at_most=24),
        Column("\nkeep"),
        Column("\nsaid by", drop=1),
    )
    rows = [
        [
            clean(item.site.site_id),
            clean(item.site.customer),
            clean(item.item) + (" (two to lift)" if item.heavy else ""),
            "" if item.watts is None else f"{item.watts:g}",
            STATUS_WORDS[item.status],
            day_month(item.day) if item.day else "",
            clean(item.store),
            item.keep,
            item.source,
        ]
        for item in items
    ]
    layout = fitted(columns, [rows], width=width)
    return [layout.head_lines()[1], *(layout.line(row) for row in rows)]


def _sums(found: StoreList) -> str:
    numbers: dict[str, int] = {}
    for item in found.items:
        numbers[item.status] = numbers.get(item.status, 0) + 1
    parts = [f"{numbers[key]} {word}" for key, word in STATUS_WORDS.items() if key in numbers]
    return f"{count(len(found.items), 'thing')}: {', '.join(parts)}."


def store_csv(items: tuple[StoredItem, ...]) -> bytes:
    """One thing a row, UTF-8 with byte-order mark; texts that a spreadsheet would run are marked as text."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(CSV_COLUMNS)
    for item in items:
        site = item.site
        writer.writerow(
            [
                *(safe_text(clean(text)) for text in (site.site_id, site.customer, site.address, item.item)),
                "" if item.watts is None else f"{item.watts:g}",
                STATUS_WORDS[item.status],
                item.day.isoformat() if item.day else "",
                safe_text(clean(item.store)),
                item.keep,
                "yes" if item.heavy else "",
                item.source,
            ]
        )
    return b"\xef\xbb\xbf" + out.getvalue().encode("utf-8")


def _finished(lines: list[str], *, unicode: bool) -> str:
    text = "\n".join(line.rstrip() for line in lines) + "\n"
    return text if unicode else ascii_only(text)
