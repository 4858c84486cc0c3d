"""Customers' messages on the screen, and as one row a site for mail merge. Nothing is sent from here."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from forecaster.report.table import Column, ascii_only, fitted, wrapped
from forecaster.report.words import clean, count, listed, weekday_date
from forecaster.report.words_for_customer import Message
from forecaster.season.tables import safe_text
from forecaster.visit.customer_words import NotWritten

ABOUT_WORDS = {"closing": "closing", "change": "new day", "done": "closed"}

CSV_COLUMNS = (
    *("site_id", "customer", "address", "email", "phone", "about", "date", "told_before"),
    *("window_start", "window_end", "subject", "body", "letters", "text_messages"),
)


def messages_text(
    made: Sequence[Message], without: Sequence[NotWritten], *, unicode: bool, width: int = 100
) -> str:
    """Which messages there are, by day, and which sites get none; the words of one: name the site."""
    if not made:
        lines = ["No message is due."]
    else:
        rows = [_row(message) for message in made]
        columns = (
            Column("\nsite"),
            Column("\ncustomer", flexible=True),
            Column("\nabout"),
            Column("\nday"),
            Column("named\nbefore"),
            Column("\nto", at_most=30, drop=1),
            Column("\nletters", right=True),
        )
        layout = fitted(columns, [rows], width=width)
        lines = [f"{count(len(made), 'message')} ({made[0].form}), sorted by day. Nothing is sent.", ""]
        lines += [*layout.head_lines(), *(layout.line(row) for row in rows)]
    reasons: dict[str, list[str]] = {}
    for one in without:
        reasons.setdefault(one.why, []).append(clean(one.site.site_id))
    if reasons:
        lines.append("")
    for why, ids in reasons.items():
        lines += wrapped(f"No message ({why}): {listed(ids)}.", width=width)
    if made:
        end = "To read one, name its site; --csv FILE writes all for mail merge."
        lines += ["", *wrapped(end, width=width)]
    text = "\n".join(lines) + "\n"
    return text if unicode else ascii_only(text)


def _row(message: Message) -> list[str]:
    facts = message.facts
    to = clean(facts.kit.phone if message.form == "text" else facts.kit.email)
    return [
        clean(facts.site.site_id),
        clean(facts.site.customer),
        ABOUT_WORDS[facts.about],
        weekday_date(facts.day),
        weekday_date(facts.old_day) if facts.old_day else "",
        (clean(facts.site.address) if message.form == "letter" else to) or "-",
        str(len(message.body)),
    ]


def message_text(message: Message) -> str:
    """One message as it stands, its subject first."""
    head = f"Subject: {message.subject}\n\n" if message.subject else ""
    return head + message.body.rstrip("\n") + "\n"


def messages_csv(made: Sequence[Message]) -> bytes:
    """One site a row: UTF-8 with byte-order mark, RFC 4180; what a spreadsheet would run is text."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(CSV_COLUMNS)
    for message in made:
        facts = message.facts
        days = (facts.day, facts.old_day, facts.window_start, facts.window_end)
        day, old, start, end = ("" if one is None else one.isoformat() for one in days)
        writer.writerow(
            [
                *(safe_text(clean(t)) for t in (facts.site.site_id, facts.site.customer, facts.site.address)),
                safe_text(clean(facts.kit.email)),
                safe_text(clean(facts.kit.phone)),
                ABOUT_WORDS[facts.about],
                *(day, old, start, end),
                safe_text(message.subject),
                safe_text(message.body.rstrip("\n")),
                len(message.body.rstrip("\n")),
                message.segments or "",
            ]
        )
    return b"\xef\xbb\xbf" + out.getvalue().encode("utf-8")
