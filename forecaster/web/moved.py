"""How the estimate moved: one site's main numbers before and after, and what changed since yesterday."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from forecaster.report import view
from forecaster.report.words import about, chance, clean, count, weekday_date
from forecaster.season.event_words import event_words
from forecaster.season.events import Event
from forecaster.season.known_sites import Basics
from forecaster.season.state import undone_events
from forecaster.web.digest import Digest, SiteDigest, digest_of
from forecaster.web.snapshot import Snapshot

TOLD_KINDS = frozenset({"reading", "told", "booked", "unbooked", "closed", "skipped", "visit", "plan"})
"""Kinds of events that Today lists."""

ACT_NOW = "act now"
RISK_STEP = 0.1
"""A chance that moved by less is not worth a line."""

DAYS_STEP = 2
"""A planned day that moved by less is not worth a line; the brief's usual value too."""


@dataclass(frozen=True)
class Moved:
    """One number before and after, in words."""

    name: str
    before: str
    after: str

    @property
    def same(self) -> bool:
        """Whether the words are the same."""
        return self.before == self.after


@dataclass(frozen=True)
class Line:
    """One line of what changed: about which site ("" for the route), and the words."""

    site_id: str
    name: str
    text: str


def moved(before: Digest, snapshot: Snapshot, site_id: str) -> list[Moved]:
    """The main numbers of a site before and now; empty where it was or is not in the route."""
    was, now = before.sites.get(site_id), digest_of(snapshot).sites.get(site_id)
    if was is None or now is None:
        return []
    units = snapshot.forecast.units
    lines = [
        Moved("Water", *(about(one.water_now_c, one.water_now_sd_c, units) for one in (was, now))),
        Moved(risk_name(now.state), chance(was.risk), chance(now.risk)),
        Moved("Best day", weekday_date(was.recommended_date), weekday_date(now.recommended_date)),
        Moved("Planned", planned(was), planned(now)),
    ]
    if was.state != now.state:
        lines[1] = Moved("State", state_words(was.state), state_words(now.state))
    return lines


def since_yesterday(
    yesterday: Digest | None, snapshot: Snapshot, events: Sequence[Event], basics: Basics
) -> list[Line]:
    """What changed since the morning before, most wanted first.

    Args:
        yesterday: Main numbers of the day before, None where they are not known yet.
        snapshot: The state now.
        events: All events of the ledger; those of yesterday and today that stand are told.
        basics: Names and units.
    """
    urgent, others = _moved_sites(yesterday, snapshot)
    return [*urgent, *_recorded(snapshot, events, basics), *others]


def _moved_sites(yesterday: Digest | None, snapshot: Snapshot) -> tuple[list[Line], list[Line]]:
    """Lines of the sites that cannot wait any more, and of all others."""
    if yesterday is None:
        return [], []
    now = digest_of(snapshot)
    lines: list[Line] = []
    now_urgent: list[Line] = []
    for site in snapshot.forecast.sites:
        site_id, was = site.site.site_id, yesterday.sites.get(site.site.site_id)
        if was is None:
            continue
        texts = _site_texts(was, now.sites[site_id], view.act_now(site))
        if texts:
            line = Line(site_id, clean(site.site.customer), "; ".join(texts))
            (now_urgent if texts[0].startswith(ACT_NOW) else lines).append(line)
    was_caught, caught = yesterday.caught_p90, now.caught_p90
    if caught is not None and was_caught is not None and caught != was_caught:
        text = f"Caught by a hard freeze, 9 falls in 10: at most {caught}, yesterday {was_caught}."
        lines.insert(0, Line("", "", text))
    return now_urgent, lines


def _site_texts(was: SiteDigest, now: SiteDigest, why: str) -> list[str]:
    texts = []
    if now.act_now and not was.act_now:
        texts.append(f"{ACT_NOW}: {why}")
    if was.state != now.state:
        texts.append(f"now {state_words(now.state)}")
    elif now.risk is not None and was.risk is not None and abs(now.risk - was.risk) >= RISK_STEP:
        way = "up" if now.risk > was.risk else "down"
        texts.append(f"{risk_name(now.state).lower()} {way} to {chance(now.risk)} from {chance(was.risk)}")
    if now.planned_date != was.planned_date:
        if now.planned_date is None or was.planned_date is None:
            texts.append(f"{planned(now)}, yesterday {planned(was)}")
        elif abs((now.planned_date - was.planned_date).days) >= DAYS_STEP:
            texts.append(
                f"planned {weekday_date(now.planned_date)}, "
                f"{_shift(was.planned_date, now.planned_date)} than yesterday"
            )
    return texts


def _recorded(snapshot: Snapshot, events: Sequence[Event], basics: Basics) -> list[Line]:
    undone = undone_events(events)
    as_of = snapshot.forecast.as_of
    told = [
        event
        for event in events
        if event.kind in TOLD_KINDS
        and event.event_id not in undone
        and 0 <= (as_of - event.day).days <= 1
        and event.event_id <= snapshot.last_event_id
    ]
    lines = []
    for event in reversed(told):
        known = basics.sites.get(event.site_id)
        text = clean(event_words(event, basics))
        lines.append(Line(event.site_id if known else "", clean(known.customer) if known else "", text))
    return lines


def risk_name(state: str) -> str:
    """Which chance of a hard freeze the risk of a site in this state is."""
    return "Hard freeze first" if state == "waiting" else "Hard freeze within 14 days"


def state_words(state: str) -> str:
    """A site's state, for a sentence."""
    words = {"ready": "ready: the water has probably settled", "waiting": "waiting: the water is still warm"}
    return words.get(state, "without a water forecast")


def planned(site: SiteDigest) -> str:
    """The planned day and crew."""
    if site.planned_date is None:
        return "not placed"
    crew = f" with {clean(site.planned_crew)}" if site.planned_crew else ""
    return f"{weekday_date(site.planned_date)}{crew}"


def _shift(was: date, now: date) -> str:
    days = (now - was).days
    return f"{count(abs(days), 'day')} {'later' if days > 0 else 'earlier'}"
