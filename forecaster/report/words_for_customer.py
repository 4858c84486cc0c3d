"""Each customer's message from the office's template and the facts of the site. Nothing is ever sent.

Plain English without chances of frost. A text message keeps its lines from the top until it is full; the
others are whole. Pure: templates and facts in, messages out.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time

from forecaster.errors import BadInput, Problem
from forecaster.report.words import clean, limit, weekday_date
from forecaster.report.words_for_customer_templates import Form, Template, filled
from forecaster.season.settings import Settings
from forecaster.season.winter_settings import OfficeSettings
from forecaster.visit.customer_words import About, CustomerFacts

TEXT_LIMITS = (160, 320)
"""A text message may have so many letters: one or two messages' worth."""
NO_OFFICE = "Your pond crew"

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTH_NAMES = (
    *("January", "February", "March", "April", "May", "June", "July", "August"),
    *("September", "October", "November", "December"),
)

REASONS = {
    "cooled": "The water has cooled down enough for the winter rest.",
    "will cool": "By then the water should have cooled down enough for the winter rest.",
    "before frost": "We come before the water is quite cold, so that pump and lines are safe from frost.",
    "heated": "Your pond is heated, so we go by the air and come before hard frost.",
    "no pond": "There is no pond to cool here, so we come before hard frost reaches the lines.",
}
CHANGES = {
    "frost earlier": "Cold nights may come sooner than we thought, and we want to be there before them.",
    "water still warm": "The water is cooling more slowly than we thought, and a few more days do it good.",
    "round": "The weather has moved our round, and this way our crews reach every customer in time.",
}

_GSM = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§"
    "¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
"""The 7-bit alphabet of text messages (3GPP TS 23.038, basic table) [from memory]."""


@dataclass(frozen=True)
class Message:
    """One finished message; `segments`: as how many messages a text goes out, 0 for other forms."""

    facts: CustomerFacts
    form: Form
    subject: str
    body: str
    segments: int


def messages(
    facts: Sequence[CustomerFacts],
    templates: Mapping[tuple[About, Form], Template],
    *,
    form: Form,
    settings: Settings,
    today: date,
    text_limit: int = 320,
) -> tuple[Message, ...]:
    """A message for each site.

    Raises:
        BadInput: A text's first line does not fit into `text_limit` letters: all such sites at once.
    """
    made, problems = [], []
    for one in facts:
        template = templates[one.about, form]
        values = field_values(one, settings, today)
        lines = [filled(line, values) for line in template.lines]
        kept = [line for line in lines if line is not None]
        subject = filled(template.subject, values) or ""
        if form == "text":
            body = shortened(kept, text_limit)
            if not body:
                first = next((line for line in kept if line.strip()), "")
                cure = f"Shorten its first line, or allow {TEXT_LIMITS[1]} letters."
                found = f"{clean(one.site.site_id)}: the first line has {len(first)} letters of {text_limit}."
                problems.append(Problem(template.where, f"{found} {cure}"))
        else:
            body = re.sub(r"\n{3,}", "\n\n", "\n".join(line.rstrip() for line in kept)).strip("\n") + "\n"
        made.append(Message(one, form, subject, body, segments(body) if form == "text" else 0))
    if problems:
        raise BadInput(problems)
    return tuple(made)


def shortened(lines: Sequence[str], most: int) -> str:
    """Lines on one line, from the top as long as they fit; "" where not even the first does.

    >>> shortened(["We come Tue.", "A long reason that is too much.", "Call us."], 24)
    'We come Tue. Call us.'
    """
    said = [" ".join(line.split()) for line in lines if line.strip()]
    kept = said[:1] if said and len(said[0]) <= most else []
    for line in said[1:]:
        if kept and len(" ".join([*kept, line])) <= most:
            kept.append(line)
    return " ".join(kept)


def segments(text: str) -> int:
    """As how many messages a text goes out: 160 letters in one, else 153 each; 70 and 67 with other signs.

    >>> segments("a" * 160), segments("a" * 161), segments("池" * 71)
    (1, 2, 2)
    """
    single, part = (160, 153) if set(text) <= _GSM else (70, 67)
    return 1 if len(text) <= single else -(-len(text) // part)


def field_values(facts: CustomerFacts, settings: Settings, today: date) -> dict[str, str]:
    """Every field of a template for one site; "" where there is nothing to say."""
    site, office = facts.site, settings.office
    customer = clean(site.customer)
    return {
        "customer": customer,
        "name": re.sub(r"\s*\([^()]*\)\s*$", "", customer) or customer,
        "site_id": clean(site.site_id),
        "address": clean(site.address),
        "feature": {"fall without pond": "waterfall", "fountain": "fountain"}.get(site.kind, "pond"),
        "date": long_date(facts.day),
        "day": weekday_date(facts.day),
        "time": part_of_day(facts.arrive),
        "window": long_window(facts.window_start, facts.window_end),
        "reason": REASONS[facts.reason] if facts.reason else "",
        "old_date": long_date(facts.old_day) if facts.old_day else "",
        "old_day": weekday_date(facts.old_day) if facts.old_day else "",
        "change": CHANGES[facts.change_reason] if facts.change_reason else "",
        "prepare": "\n".join(f"- {line}" for line in prepare(facts, settings)),
        "winter_care": "\n".join(f"- {line}" for line in winter_care(facts, settings)),
        "today": f"{long_date(today)} {today.year}",
        **_signature(office),
    }


def _signature(office: OfficeSettings) -> dict[str, str]:
    return {
        "office": clean(office.name) or NO_OFFICE,
        "phone": clean(office.phone),
        "email": clean(office.email),
    }


def long_date(day: date) -> str:
    """A day as letters have it.

    >>> long_date(date(2025, 10, 15))
    'Wednesday 15 October'
    """
    return f"{WEEKDAYS[day.weekday()]} {day.day} {MONTH_NAMES[day.month - 1]}"


def long_window(start: date | None, end: date | None) -> str:
    """Days that would do, "" for none or for a single one.

    >>> long_window(date(2025, 10, 14), date(2025, 10, 22))
    '14 to 22 October'
    >>> long_window(date(2025, 10, 28), date(2025, 11, 3))
    '28 October to 3 November'
    """
    if start is None or end is None or start == end:
        return ""
    first = f"{start.day}" if start.month == end.month else f"{start.day} {MONTH_NAMES[start.month - 1]}"
    return f"{first} to {end.day} {MONTH_NAMES[end.month - 1]}"


def part_of_day(arrive: time | None) -> str:
    """The planned arrival as a customer is told; no clock time is promised weeks ahead.

    >>> part_of_day(time(8, 20)), part_of_day(time(12, 30)), part_of_day(None)
    ('in the morning', 'around midday', 'during the day')
    """
    if arrive is None:
        return "during the day"
    if arrive < time(11, 30):
        return "in the morning"
    return "around midday" if arrive < time(13) else "in the afternoon"


def prepare(facts: CustomerFacts, settings: Settings) -> list[str]:
    """What the customer can prepare, with the cautions where they belong."""
    site, kit = facts.site, facts.kit
    feeding = limit(settings.winter.last_feeding_c, settings.season.units)
    lines = [
        "Please leave the gate open, or tell us how we get in, and keep dogs indoors.",
        "Please leave everything plugged in and in place: our crew switches the power off before any hand "
        "goes into the water.",
    ]
    if site.has_pond and kit.net:
        lines.append("Please leave the leaf net on; we lift it, and put it back if leaves still fall.")
    if site.has_pond and site.fish:
        lines.append(
            f"Please stop feeding the fish once the water stays below {feeding}; your fish-care practice "
            "goes first."
        )
    if site.winter == "partly":
        lines.append("A part stays on over the winter; please show us if you want that changed.")
    return lines


def winter_care(facts: CustomerFacts, settings: Settings) -> list[str]:
    """What the customer does and leaves alone in the winter, with its cautions."""
    site, kit = facts.site, facts.kit
    if not site.has_pond:
        return ["Please leave lines and valves as they are until spring.", _plugs(facts)]
    lines = [
        "Please do not walk on the ice, whatever it looks like, and do not break it by blows: that hurts "
        "fish.",
        "Please pour nothing into the pond, no salt and no antifreeze.",
    ]
    if kit.deicer.there or kit.aerator.there:
        lines.append(_plugs(facts))
    if site.fish:
        feeding = limit(settings.winter.last_feeding_c, settings.season.units)
        lines.append(
            f"The fish need no food while the water stays below {feeding}; your fish-care practice goes "
            "first."
        )
        lines.append("If the whole pond is frozen over for more than a few days, please call us.")
    return lines


def _plugs(facts: CustomerFacts) -> str:
    on = " and ".join(
        name
        for name, device in (("de-icer", facts.kit.deicer), ("aerator", facts.kit.aerator))
        if device.there
    )
    what = f"The {on} stays plugged in, in a GFCI-protected outlet" if on else "Leave all plugs as they are"
    what = what.replace("stays", "stay") if " and " in on else what
    return f"{what}; if one trips or a cable looks bad, do not touch the water and call an electrician."
