"""The winter watch as text, as JSON, as lines for a site's page and as matters for the brief."""

from __future__ import annotations

import json
from datetime import date, timedelta
from typing import Any

from forecaster.matters import Matter
from forecaster.report.table import Column, ascii_only, fitted, wrapped
from forecaster.report.winter_cautions import BACTERIA, ELECTRICITY, FEEDING, ICE
from forecaster.report.words import (
    chance,
    clean,
    count,
    crossing,
    crossing_short,
    day_month,
    limit,
    listed,
    weekday_date,
)
from forecaster.visit.winter_watch import LookKind, SiteWatch, WinterDay, WinterWatch

SOON_DAYS = 7
"""The reason to look is written out for ponds that are due within so many days."""

CAUTIONS: dict[LookKind, tuple[str, ...]] = {"feeding": (FEEDING,), "bacteria": (BACTERIA,)}
"""What a reason to look needs beside the word about ice; without an entry, the one about electricity."""

NO_SNOW = (
    "Snow on ice shuts out light and air, and no station here records it: look after each snowfall too, and "
    "clear snow only from firm ground."
)
SNOW = (
    "Snow on ice shuts out light and air: look after each snowfall too, and clear snow only from firm ground."
)


def winter_text(watch: WinterWatch, *, unicode: bool, detail: bool = False, width: int = 100) -> str:
    """The list of ponds by the day on which to look again, why, and the cautions; `detail`: all of each."""
    lines = wrapped(
        f"{clean(watch.season_name)}: winter watch on the morning of "
        f"{weekday_date(watch.as_of, year=True)}, in the possible falls to 31 January.",
        width=width,
    )
    if not watch.sites:
        lines += wrapped(_nothing(watch), width=width)
    else:
        columns, rows = _table(watch)
        layout = fitted(columns, [rows], width=width)
        lines += wrapped(
            "Sorted by the day to look again. A date is that of half the falls; 8 in 10 lie in the brackets.",
            width=width,
        )
        lines += ["", *layout.head_lines(), *(layout.line(row) for row in rows), ""]
    said = [line for site in watch.sites for line in watch_facts(site, watch)] if detail else _whys(watch)
    for sentence in (*said, *_notes(watch)):
        lines += wrapped(sentence, width=width)
    for caution in (ICE, FEEDING, BACTERIA, ELECTRICITY):
        lines += wrapped(caution, width=width)
    text = "\n".join(line.rstrip() for line in lines) + "\n"
    return text if unicode else ascii_only(text)


def _nothing(watch: WinterWatch) -> str:
    if watch.left_out and not watch.others_open:
        return "No water is forecast for it: look at the pond itself."
    return (
        "No pond is closed yet and none runs all winter. Closings are recorded by forecaster close; "
        "--all shows the ponds that are still open."
    )


def _table(watch: WinterWatch) -> tuple[tuple[Column, ...], list[list[str]]]:
    same = watch.feeding_c == watch.bacteria_c
    water = (
        (Column(f"feeding ends, cold-water\nbacteria: {limit(watch.bacteria_c, watch.units)}"),)
        if same
        else (
            Column(f"feeding ends\n{limit(watch.feeding_c, watch.units)}"),
            Column(f"cold-water bacteria\n{limit(watch.bacteria_c, watch.units)}"),
        )
    )
    columns = (
        Column("look\nagain"),
        Column("\nsite"),
        Column("\ncustomer", flexible=True),
        Column("\nclosed", drop=1),
        *water,
        Column("\nfirst ice"),
        Column(f"ice that stays\n{count(watch.ice_days, 'day')}"),
    )
    rows = []
    for site in watch.sites:
        days = [site.bacteria] if same else [site.feeding, site.bacteria]
        rows.append(
            [
                day_month(site.look_again),
                clean(site.site.site_id),
                clean(site.site.customer),
                day_month(site.closed) if site.closed else ("runs" if site.site.winter == "runs" else "open"),
                *(_short(day) if day else "no fish" for day in days),
                _short(site.first_ice),
                _short(site.long_ice),
            ]
        )
    return columns, rows


def _short(day: WinterDay) -> str:
    return crossing_short(day.p10, day.p50, day.p90)


def _whys(watch: WinterWatch) -> list[str]:
    """The reasons to look within a week, ponds of one reason and day together."""
    due: dict[tuple[date, LookKind], list[str]] = {}
    for site in watch.sites:
        if site.look_again <= watch.as_of + timedelta(days=SOON_DAYS):
            due.setdefault((site.look_again, site.look_kind), []).append(clean(site.site.site_id))
    return [
        f"{'Today' if day == watch.as_of else weekday_date(day)}, {listed(ids)}: {why(kind, watch)}"
        for (day, kind), ids in due.items()
    ]


def why(kind: LookKind, watch: WinterWatch) -> str:
    """What to look for, one sentence."""
    feeding, bacteria = (limit(value, watch.units) for value in (watch.feeding_c, watch.bacteria_c))
    return {
        "ice lies": "ice probably lies. See from the edge that a hole is open and the devices run.",
        "first ice": "1 fall in 10 has the first ice by that day. See that de-icer and aerator run.",
        "long ice": (
            f"1 fall in 10 has ice of {count(watch.ice_days, 'day')} by that day. "
            "See from the edge that a hole stays open."
        ),
        "snow on ice": (
            "1 fall in 10 has snow on ice by that day. See from the edge that a hole stays open; clear snow "
            "only from firm ground."
        ),
        "feeding": f"the water may be down to {feeding}. Take a reading; if so, feeding ends.",
        "bacteria": (
            f"the water may be down to {bacteria}. Take a reading; if so, change to cold-water bacteria."
        ),
        "nothing due": "nothing is due before; look all the same.",
    }[kind]


def _notes(watch: WinterWatch) -> list[str]:
    said = [snow_words(watch)]
    if watch.left_out:
        ids = listed(clean(site.site_id) for site in watch.left_out)
        said.append(f"Heated, so without a water forecast: {ids}. Look there as its heater's maker says.")
    if watch.others_open and watch.sites:
        said.append(f"{count(watch.others_open, 'pond')} still open, not shown (--all shows them).")
    return [*said, *(clean(str(notice)) for notice in watch.notices)]


def snow_words(watch: WinterWatch) -> str:
    """What is said of snow, once for all ponds."""
    return SNOW if any(site.snow_on_ice for site in watch.sites) else NO_SNOW


def watch_lines(watch: WinterWatch, site_id: str) -> tuple[str, ...]:
    """What a site's page says of one pond, with its cautions; nothing for a site that is not watched."""
    site = watch.site(site_id)
    if site is None:
        return ()
    feeding = () if site.feeding is None else (FEEDING,)
    return (*watch_facts(site, watch), snow_words(watch), *feeding, BACTERIA, ELECTRICITY, ICE)


def watch_facts(site: SiteWatch, watch: WinterWatch) -> tuple[str, ...]:
    """All that is known of one pond, without what is said once for all ponds."""
    lines = [f"Look again {weekday_date(site.look_again)}: {why(site.look_kind, watch)}"]
    if site.last_look is not None:
        lines.append(f"Last look on record (reading, closing or visit): {weekday_date(site.last_look)}.")
    if site.feeding is not None:
        lines.append(f"Feeding ends ({limit(watch.feeding_c, watch.units)}): {_long(site.feeding, watch)}.")
    lines.append(
        f"Cold-water bacteria ({limit(watch.bacteria_c, watch.units)}): {_long(site.bacteria, watch)}."
    )
    lines.append(f"First ice: {_long(site.first_ice, watch)}. Ice now: {chance(site.p_ice_now)}.")
    stays = count(watch.ice_days, "day")
    lines.append(f"Ice that stays {stays} or longer begins: {_long(site.long_ice, watch)}.")
    if site.snow_on_ice is not None:
        lines.append(f"Snow on ice: {_long(site.snow_on_ice, watch)}.")
    return tuple(lines)


def _long(day: WinterDay, watch: WinterWatch) -> str:
    return crossing(day.p10, day.p50, day.p90, fall=watch.fall, p_not_reached=day.p_not_reached)


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}"


def winter_matters(watch: WinterWatch, *, within_days: int = 1) -> tuple[Matter, ...]:
    """What the brief may tell: ponds to look at within so many days, one matter a reason."""
    due: dict[LookKind, list[SiteWatch]] = {}
    for site in watch.sites:
        if site.look_kind != "nothing due" and site.look_again <= watch.as_of + timedelta(days=within_days):
            due.setdefault(site.look_kind, []).append(site)
    titles: dict[LookKind, str] = {
        "ice lies": "ice probably lies",
        "first ice": "first ice may come",
        "long ice": f"ice of {count(watch.ice_days, 'day')} may come",
        "snow on ice": "snow on ice may come",
        "feeding": "feeding may have to end",
        "bacteria": "time for cold-water bacteria",
    }
    made = []
    for kind, sites in due.items():
        ids = tuple(clean(site.site.site_id) for site in sites)
        made.append(
            Matter(
                key=f"winter/{kind}/{watch.fall}/{'+'.join(ids)}",
                kind="winter",
                title=f"{titles[kind]}: {listed(ids, at_most=6)}",
                lines=tuple(_matter_line(kind, site, watch) for site in sites[:8]),
                sites=ids,
                next_step=" ".join([_sentence(why(kind, watch)), *CAUTIONS.get(kind, (ELECTRICITY,)), ICE]),
            )
        )
    return tuple(made)


def _matter_line(kind: LookKind, site: SiteWatch, watch: WinterWatch) -> str:
    name = f"{clean(site.site.site_id)} {clean(site.site.customer)}".rstrip()
    if kind == "ice lies":
        return f"{name}: ice now {chance(site.p_ice_now)}."
    day = {
        "first ice": site.first_ice,
        "long ice": site.long_ice,
        "snow on ice": site.snow_on_ice,
        "feeding": site.feeding,
    }.get(kind, site.bacteria)
    return f"{name}: {_long(day or site.bacteria, watch)}."


def winter_json(watch: WinterWatch) -> str:
    """The same for another program; `null`: not by 31 January, or no fish."""
    record: dict[str, Any] = {
        "as_of": watch.as_of.isoformat(),
        "last_feeding_c": round(watch.feeding_c, 2),
        "cold_bacteria_c": round(watch.bacteria_c, 2),
        "ice_days": watch.ice_days,
        "sites": [
            {
                "site_id": site.site.site_id,
                "closed": site.closed.isoformat() if site.closed else None,
                "last_look": site.last_look.isoformat() if site.last_look else None,
                "look_again": site.look_again.isoformat(),
                "look_again_why": site.look_kind,
                **_day_json("feeding_ends", site.feeding),
                **_day_json("cold_bacteria", site.bacteria),
                **_day_json("first_ice", site.first_ice),
                **_day_json("long_ice", site.long_ice),
                **_day_json("snow_on_ice", site.snow_on_ice),
                "p_ice_now": round(site.p_ice_now, 4),
            }
            for site in watch.sites
        ],
        "without_forecast": [site.site_id for site in watch.left_out],
        "snow_known": any(site.snow_on_ice for site in watch.sites),
        "warnings": [{"where": notice.where, "text": notice.text} for notice in watch.notices],
    }
    return json.dumps(record, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def _day_json(name: str, day: WinterDay | None) -> dict[str, Any]:
    if day is None:
        return {f"{name}_{end}": None for end in ("p10", "p50", "p90", "p_not_reached", "p_come")}
    ends = {f"{name}_{end}": getattr(day, end) for end in ("p10", "p50", "p90")}
    return {
        **{key: None if value is None else value.isoformat() for key, value in ends.items()},
        f"{name}_p_not_reached": round(day.p_not_reached, 4),
        f"{name}_p_come": round(day.p_come, 4),
    }
