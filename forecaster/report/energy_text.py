"""The winter's energy as text, JSON and CSV: hours, kWh and dollars of each device, with their spread."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

from forecaster.report.table import Column, ascii_only, fitted, wrapped
from forecaster.report.winter_cautions import ELECTRICITY
from forecaster.report.words import clean, count, day_month, dollars, listed, weekday_date
from forecaster.season.tables import safe_text
from forecaster.visit.energy import (
    LARGE_WATTS,
    SMALL_WATTS,
    DeviceUse,
    RouteEnergy,
    SiteEnergy,
    Spread,
)

COLUMNS = (
    Column("\nsite"),
    Column("\ncustomer", flexible=True),
    Column("\ndevice"),
    Column("\nfrom", drop=1),
    Column("\nwatts", right=True),
    Column("hours\n(8 in 10)", right=True),
    Column("kWh\n(8 in 10)", right=True),
    Column("cost\n(8 in 10)", right=True),
)


def energy_text(energy: RouteEnergy, *, unicode: bool, width: int = 100) -> str:
    """The table of the route's winter devices and what they add up to; for one site also its arithmetic."""
    lines = wrapped(
        f"{clean(energy.season_name)}: de-icers and aerators this winter, to "
        f"{weekday_date(energy.last_day, year=True)}, as of the morning of "
        f"{weekday_date(energy.as_of, year=True)}.",
        width=width,
    )
    rows = [_row(site, use) for site in energy.sites for use in site.devices]
    if not rows:
        nothing = "No de-icer or aerator is in the sheet. Write deicer_watts and aerator_watts in sites.csv."
        lines += ["", *wrapped(nothing, width=width)]
    else:
        layout = fitted(COLUMNS, [rows], width=width)
        lines += ["", *layout.head_lines(), *(layout.line(row) for row in rows), ""]
    for sentence in (*_sums(energy), *_notes(energy), *_basis(energy), ELECTRICITY):
        lines += wrapped(sentence, width=width)
    text = "\n".join(line.rstrip() for line in lines) + "\n"
    return text if unicode else ascii_only(text)


def _row(site: SiteEnergy, use: DeviceUse) -> list[str]:
    return [
        clean(site.site.site_id),
        clean(site.site.customer),
        use.device,
        day_month(site.start) if site.start else "settled",
        "?" if use.watts is None else f"{use.watts:g}",
        spread_of(use.hours),
        "-" if use.kwh is None else spread_of(use.kwh),
        "-" if use.cost is None else spread_of(use.cost, money=True),
    ]


def spread_of(spread: Spread, *, money: bool = False) -> str:
    """Middle value and the ends of 8 in 10; the middle alone where they are the same.

    >>> spread_of(Spread(700.2, 864.0, 1000.4)), spread_of(Spread(3.0, 3.0, 3.0), money=True)
    ('864 (700-1,000)', '$3')
    """
    shown = [dollars(value) if money else f"{value:,.0f}" for value in (spread.p50, spread.p10, spread.p90)]
    if shown[1] == shown[2]:
        return shown[0]
    return f"{shown[0]} ({shown[1]}-{shown[2].removeprefix('$')})"


def _sums(energy: RouteEnergy) -> list[str]:
    if not energy.sites:
        return []
    found = []
    if len(energy.sites) > 1:
        total = f"All with known watts together: {spread_of(energy.total_kwh)} kWh"
        total += f", {spread_of(energy.total_cost, money=True)}" if energy.total_cost else ""
        found.append(f"{total}. Winters are cold or mild everywhere at once, so the sum has its own range.")
    pond = _typical(energy)
    if pond is not None and pond.small_kwh and pond.large_kwh:
        saved = pond.large_kwh.p50 - pond.small_kwh.p50
        price = "" if energy.price is None else f", about {dollars(saved * energy.price)}"
        found.append(
            f"A de-icer of {SMALL_WATTS:g} W at {clean(pond.site.site_id)}: {spread_of(pond.small_kwh)} kWh; "
            f"of {LARGE_WATTS:,.0f} W: {spread_of(pond.large_kwh)} kWh, {saved:,.0f} more{price}. The small "
            "one keeps a hole open in still water; neither is meant to warm the pond."
        )
    if len(energy.sites) == 1:
        found += [_arithmetic(use, energy) for use in energy.sites[0].devices if use.kwh is not None]
    return found


def _typical(energy: RouteEnergy) -> SiteEnergy | None:
    """The pond with the middle need of those where a de-icer is asked for."""
    ponds = [site for site in energy.sites if site.small_kwh is not None]
    ponds.sort(key=lambda site: (site.small_kwh.p50 if site.small_kwh else 0.0, site.site.site_id))
    return ponds[len(ponds) // 2] if ponds else None


def _arithmetic(use: DeviceUse, energy: RouteEnergy) -> str:
    """How the middle value comes about, so that it can be checked on paper."""
    assert use.watts is not None
    assert use.kwh is not None
    share = f" x {energy.duty:g}" if use.device == "de-icer" and energy.duty != 1 else ""
    text = (
        f"{use.device}: {use.watts:g} W x {use.hours.p50:,.0f} hours{share} / 1000 = {use.kwh.p50:,.0f} kWh"
    )
    if energy.price is None or use.cost is None:
        return f"{text}."
    return f"{text}, at ${energy.price:g} a kWh {dollars(use.cost.p50)}."


def _notes(energy: RouteEnergy) -> list[str]:
    alike: dict[str, list[str]] = {}
    for site in energy.sites:
        for note in site.notes:
            alike.setdefault(note, []).append(clean(site.site.site_id))
    return [f"{listed(ids)}, {note}" for note, ids in alike.items()]


def _basis(energy: RouteEnergy) -> list[str]:
    said = ["A de-icer is counted as heating in every hour in which its thermostat may be on."]
    if energy.duty == 1:
        said[0] += (
            " One that warms the water around it rests in between, so the meter may show less: the share "
            "that you measure goes into [winter] deicer_duty."
        )
    else:
        said[0] += f" Of these it heats {energy.duty * 100:.0f} % ([winter] deicer_duty)."
    said.append("An aerator runs every hour from the closing, or from the day the water settles.")
    if energy.price is None:
        said.append("No cost is named: set the price you pay, like kwh_price = 0.16, in [winter] or --price.")
    if energy.last_day.month == 1:
        said.append("The sums end on 31 January; the weeks after it come on top.")
    else:
        said.append(
            "February and March follow the earlier winters that the possible falls come from; the water's "
            "error of 31 January stays as it is."
        )
    said += [clean(str(notice)) for notice in energy.notices]
    return said


def energy_json(energy: RouteEnergy) -> str:
    """The same for another program: keys with their units, `null` for "not known"."""
    record: dict[str, Any] = {
        "as_of": energy.as_of.isoformat(),
        "last_day": energy.last_day.isoformat(),
        "kwh_price": energy.price,
        "deicer_duty": energy.duty,
        "sites": [
            {
                "site_id": site.site.site_id,
                "from": site.start.isoformat() if site.start else None,
                "from_kind": site.start_kind,
                "devices": [_device_json(use) for use in site.devices],
                **_keys("deicer_300_w_kwh", site.small_kwh),
                **_keys("deicer_1500_w_kwh", site.large_kwh),
                "notes": list(site.notes),
            }
            for site in energy.sites
        ],
        **_keys("total_kwh", energy.total_kwh),
        **_keys("total_cost", energy.total_cost),
        "warnings": [{"where": notice.where, "text": notice.text} for notice in energy.notices],
    }
    return json.dumps(record, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def _device_json(use: DeviceUse) -> dict[str, Any]:
    return {
        "device": use.device,
        "watts": use.watts,
        **_keys("hours", use.hours),
        **_keys("kwh", use.kwh),
        **_keys("cost", use.cost),
    }


def _keys(name: str, spread: Spread | None) -> dict[str, float | None]:
    shares = ("p10", "p50", "p90")
    return {
        f"{name}_{share}": None if spread is None else round(getattr(spread, share), 2) for share in shares
    }


def energy_csv(energy: RouteEnergy) -> bytes:
    """One device a row, UTF-8 with byte-order mark; texts that a spreadsheet would run are marked as text."""
    names = [f"{name}_{share}" for name in ("hours", "kwh", "cost") for share in ("p10", "p50", "p90")]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(["site_id", "customer", "device", "watts", "from", "to", *names])
    for site in energy.sites:
        for use in site.devices:
            numbers = {**_keys("hours", use.hours), **_keys("kwh", use.kwh), **_keys("cost", use.cost)}
            writer.writerow(
                [
                    safe_text(clean(site.site.site_id)),
                    safe_text(clean(site.site.customer)),
                    use.device,
                    "" if use.watts is None else f"{use.watts:g}",
                    site.start.isoformat() if site.start else "",
                    energy.last_day.isoformat(),
                    *("" if numbers[name] is None else f"{numbers[name]:.2f}" for name in names),
                ]
            )
    return b"\xef\xbb\xbf" + out.getvalue().encode("utf-8")


def energy_line(energy: RouteEnergy) -> str:
    """The total in one sentence, for other reports."""
    cost = f", {spread_of(energy.total_cost, money=True)}" if energy.total_cost else ""
    return f"{count(len(energy.sites), 'site')}: {spread_of(energy.total_kwh)} kWh{cost}."
