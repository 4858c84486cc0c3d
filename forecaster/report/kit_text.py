"""The kit of the sites as text, CSV and JSON: what is there, what to look at, what to ask."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping, Sequence
from typing import Any

from forecaster.report.table import wrapped
from forecaster.report.words import clean, count
from forecaster.season.sites import Site
from forecaster.season.tables import safe_text
from forecaster.visit.hazards import CAUTIONS, HAZARDS
from forecaster.visit.kit import Device, Kit
from forecaster.visit.kit_checks import Finding, kit_findings
from forecaster.visit.measured import depth_words, length_words, size_words, volume_words, weight_words
from forecaster.visit.pipes import line_volume

CSV_COLUMNS = (
    *("site_id", "customer", "pump", "ultraviolet", "aerator", "diffuser", "de_icer", "circuits", "line"),
    *("water_in_line", "store", "look", "ask"),
)


def kit_text(
    sites: Sequence[Site],
    kits: Mapping[str, Kit],
    *,
    season_name: str,
    units: str,
    detail: bool = False,
    width: int = 100,
) -> str:
    """Findings site by site, ending in a newline; with `detail` what is there too."""
    found = {site.site_id: kit_findings(site, kits[site.site_id], units=units) for site in sites}
    look = [site for site in sites if any(f.level == "look" for f in found[site.site_id])]
    asked = [site for site in sites if any(f.level == "ask" for f in found[site.site_id])]
    lines = [
        f"{clean(season_name)}: kit of {count(len(sites), 'site')}.",
        f"{count(len(look), 'site')} to look at, {count(len(asked), 'site')} with something to ask. "
        "What is not in the sheet is not known.",
    ]
    for site in sites:
        mine = found[site.site_id]
        if not mine and not detail:
            continue
        lines += ["", f"{clean(site.site_id)}  {clean(site.customer)}"]
        if detail:
            for name, text in kit_words(kits[site.site_id], units=units):
                lines += wrapped(f"{name}: {text}", width=width, indent="  ", hanging="    ")
        for finding in mine:
            name = "Look" if finding.level == "look" else "Ask"
            lines += wrapped(f"{name}: {clean(finding.text)}", width=width, indent="  ", hanging="    ")
    lines += _take_care([f for mine in found.values() for f in mine], width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def kit_words(kit: Kit, *, units: str) -> tuple[tuple[str, str], ...]:
    """Name and value of each part of a kit, as people say them."""
    not_said = "not in the sheet"
    volume = line_volume(kit)
    line = [
        length_words(kit.line_length_m, units) if kit.line_length_m is not None else "",
        f"of {size_words(kit.line_diameter_m, units)}" if kit.line_diameter_m is not None else "",
        kit.line_kind or "",
        {True: "drains by itself", False: "does not drain by itself", None: ""}[kit.line_drains],
    ]
    return (
        ("Pump", _device(kit.pump) + _weight(kit, units)),
        ("Ultraviolet lamp", _device(kit.uv)),
        ("Dosing gear", _yes_no(kit.dosing)),
        ("Check valve", _yes_no(kit.check_valve)),
        ("Aerator", _device(kit.aerator)),
        ("Diffuser", not_said if kit.diffuser_depth_m is None else depth_words(kit.diffuser_depth_m, units)),
        ("De-icer", _device(kit.deicer)),
        ("Circuits", not_said if kit.circuits is None else str(kit.circuits)),
        ("GFCI outlet", _yes_no(kit.gfci)),
        ("Breaker or plug", clean(kit.breaker) or not_said),
        ("Line", ", ".join(part for part in line if part) or not_said),
        ("Water in the line", volume_words(volume, units) if volume else "not known"),
        ("Store", clean(kit.store) or not_said),
        ("Frost-free store", _yes_no(kit.frost_free)),
        ("Net", _yes_no(kit.net)),
    )


def kit_csv(sites: Sequence[Site], kits: Mapping[str, Kit], *, units: str) -> bytes:
    """One row a site; UTF-8 with byte-order mark, RFC 4180 lines."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(CSV_COLUMNS)
    for site in sites:
        kit, said = kits[site.site_id], dict(kit_words(kits[site.site_id], units=units))
        found = kit_findings(site, kit, units=units)
        names = ("Pump", "Ultraviolet lamp", "Aerator", "Diffuser", "De-icer", "Circuits", "Line")
        cells = [site.site_id, site.customer, *(said[name] for name in names)]
        cells += [said["Water in the line"], said["Store"]]
        cells += [" ".join(f.text for f in found if f.level == level) for level in ("look", "ask")]
        writer.writerow([safe_text(clean(cell)) for cell in cells])
    return b"\xef\xbb\xbf" + out.getvalue().encode("utf-8")


def kit_json(sites: Sequence[Site], kits: Mapping[str, Kit], *, units: str) -> str:
    """Kits in the program's units (names say which; null is not known) and findings, as JSON text."""
    whole = [
        {
            "site_id": site.site_id,
            "kit": _plain(kits[site.site_id]),
            "findings": [
                {"level": f.level, "text": f.text, "columns": list(f.columns)}
                for f in kit_findings(site, kits[site.site_id], units=units)
            ],
        }
        for site in sites
    ]
    return json.dumps({"sites": whole}, indent=2, ensure_ascii=False) + "\n"


def _plain(kit: Kit) -> dict[str, Any]:
    volume = line_volume(kit)
    found: dict[str, Any] = {}
    for name, value in vars(kit).items():
        if name in ("site_id", "row"):
            continue
        if isinstance(value, Device):
            found[name] = {"there": value.there, "watts": value.watts}
        elif isinstance(value, frozenset):
            found[name] = sorted(value)
        else:
            found[name] = None if value == "" else value
    found["line_volume_m3"] = (
        None if volume is None else [round(v, 6) for v in (volume.low_m3, volume.high_m3)]
    )
    return found


def _device(device: Device) -> str:
    if device.there is None:
        return "not in the sheet"
    if not device.there:
        return "none"
    return f"{device.watts:g} W" if device.watts is not None else "there, watts not known"


def _weight(kit: Kit, units: str) -> str:
    return "" if kit.pump_weight_kg is None else f", {weight_words(kit.pump_weight_kg, units)}"


def _yes_no(value: bool | None) -> str:
    return {True: "yes", False: "no", None: "not in the sheet"}[value]


def _take_care(findings: Sequence[Finding], width: int) -> list[str]:
    """The cautions of all that the findings touch."""
    touched = {hazard for finding in findings for hazard in finding.hazards}
    if not touched:
        return []
    lines = ["", "Take care"]
    for hazard in HAZARDS:
        if hazard in touched:
            caution = CAUTIONS[hazard]
            text = f"- {caution.name}: {caution.short} {caution.more}"
            lines += wrapped(text, width=width, hanging="  ")
    return lines
