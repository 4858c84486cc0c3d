"""Whom the data of a season ask to name, for every page, sheet and text that is made from them.

The terms: Meteostat, MET Norway and Open-Meteo give their data under CC BY 4.0, which asks for the name and
the licence; what NOAA gives is in the public domain and asks for a citation. Own files carry what the office
writes into `credits.txt` of the weather folder, one sentence a line; `weather export` writes that file.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from forecaster.season.settings import Settings
from forecaster.weather.records import read_about

RECORDS = "Station records: Meteostat (meteostat.net), CC BY 4.0, from the sources named with each station."
STATION_LIST = "Station list: Meteostat (meteostat.net), CC BY 4.0."
NOAA_DAILY = "NOAA NCEI, GHCN-Daily (public domain; Menne and others 2012, doi 10.7289/V5D21VHZ)"
NOAA_SOURCE = "ghcnd"
OUTLOOKS: Mapping[str, str] = {
    "nws": "Outlook: US National Weather Service (public domain).",
    "met-norway": "Outlook: MET Norway (api.met.no), CC BY 4.0.",
    "open-meteo": "Outlook: Open-Meteo.com, CC BY 4.0.",
}
CREDITS_FILE = "credits.txt"
_MOST_LINES, _MOST_LETTERS = 20, 300


def credits_of(folder: Path, settings: Settings) -> tuple[str, ...]:
    """Whom to name, one sentence each; none for own files without `credits.txt`.

    Args:
        folder: The season folder.
        settings: Say where records and outlooks come from.
    """
    weather = folder / settings.weather.folder
    said: list[str] = []
    if settings.weather.source == "meteostat":
        said.append(RECORDS)
        about = read_about(weather)
        records = about.records if about else ()
        behind = {name for record in records for name in record.credit}
        behind |= {NOAA_DAILY for record in records if NOAA_SOURCE in record.sources}
        if behind:
            said.append(f"Behind them: {'; '.join(sorted(behind))}.")
    else:
        said += own_credits(weather)
    if settings.weather.outlook in OUTLOOKS:
        said.append(OUTLOOKS[settings.weather.outlook])
    return tuple(said)


def own_credits(weather_folder: Path) -> list[str]:
    """The lines of `credits.txt`, none where it is missing or no text."""
    try:
        text = (weather_folder / CREDITS_FILE).read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError):
        return []
    lines = ["".join(letter for letter in line if letter.isprintable()).strip() for line in text.splitlines()]
    return [line[:_MOST_LETTERS] for line in lines if line][:_MOST_LINES]
