"""The text of a new `season.toml`: every setting with its usual value and a line that says what it does."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

from forecaster.season.quantities import shown
from forecaster.units import KM_PER_MILE, f_to_c


@dataclass(frozen=True)
class NewSeason:
    """What a new season needs to know; `units` "us" or "metric", `weather` "files" or "meteostat"."""

    name: str
    year: int
    timezone: str
    units: str = "us"
    weather: str = "files"


@dataclass(frozen=True)
class NewCrew:
    """A crew and where it starts in the morning [degrees]."""

    name: str
    latitude: float
    longitude: float


def settings_text(season: NewSeason, crews: Sequence[NewCrew]) -> str:
    """The file's text; the program's own readers take it.

    >>> print(settings_text(NewSeason("Fall 2025", 2025, "America/Chicago"), [])[:92])
    # Settings of one fall. Change what stands right of an equals sign and save. Text stands in
    """
    metric = season.units == "metric"
    return _TEXT.format(
        name=_quoted(season.name),
        year=season.year,
        timezone=_quoted(season.timezone),
        units=_quoted(season.units),
        weather=_quoted(season.weather),
        thresholds=_thresholds(metric),
        speed=f"speed_km_h = {shown(round(35 * KM_PER_MILE))}" if metric else "speed_mph = 35",
        crews="\n".join(_crew(crew, season.year) for crew in crews) or _no_crew(season.year),
    )


def _thresholds(metric: bool) -> str:
    lines = (
        ("start", 50, "water at or below this: closing does little harm"),
        ("sustained", 45, "water at or below this for hold_days running: settled"),
        ("freeze", 32, "air at or below this in a night: a freeze"),
        ("hard_freeze", 28, "a hard freeze: thin lines and falls start to freeze"),
        ("plumbing_freeze", 20, "pipes and housings that are not drained crack"),
    )
    texts = []
    for name, limit_f, words in lines:
        setting = f"{name}_c = {shown(round(f_to_c(limit_f), 2))}" if metric else f"{name}_f = {limit_f}"
        texts.append(f"{setting:<31} # {words}")
        if name == "sustained":
            texts.append("hold_days = 5")
    return "\n".join(texts)


def _crew(crew: NewCrew, year: int) -> str:
    return _CREW.format(name=_quoted(crew.name), latitude=crew.latitude, longitude=crew.longitude, year=year)


def _no_crew(year: int) -> str:
    text = _CREW.format(name='"North"', latitude=43.05, longitude=-87.95, year=year)
    return "\n".join(f"# {line}" for line in text.rstrip().splitlines()) + "\n"


def _quoted(text: str) -> str:
    """A TOML basic string; JSON's escapes are among TOML's."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


_TEXT = """\
# Settings of one fall. Change what stands right of an equals sign and save. Text stands in
# quotes, dates do not. A line that starts with # is only read by people. A misspelt name is
# refused, and nothing is changed. A name that ends in _f may end in _c instead.

[season]
name = {name}
year = {year}                     # the year of its August; the fall runs to 31 January
timezone = {timezone}
units = {units}                    # "us" or "metric": how numbers are shown
seed = {year}                     # any whole number; the same number gives the same answer
members = 1500                  # courses of the rest of the fall that are tried

[weather]
source = {weather}                # "files" reads the folder below; "meteostat" fetches station records
folder = "weather"
stations_per_site = 3           # nearest stations that are blended for each site
seasons = 30                    # past falls that the forecast learns from
outlook = "none"                # "files", "nws", "met-norway", "open-meteo": the coming days too

[thresholds]
{thresholds}

[costs]                         # dollars; your own, they decide the dates
warm_day = 10                   # a day closed while water is still above the start threshold
hard_freeze = 60                # closing only after the first hard freeze
plumbing_freeze = 400           # after a plumbing freeze, times the site's plumbing_exposure
ice = 150                       # closing through ice
drive_hour = 60                 # an hour of a crew on the road
move_told_date = 25             # moving a date that a customer was told
window_margin = 15              # days that cost at most this more than the best are the window

[route]
# max_caught = 4                # ponds that may still be open at their first hard freeze ...
caught_chance = 0.9             # ... in this share of falls; gives the latest first day
road_factor = 1.3               # a road is longer than the straight line
{speed}
lost_day_share = 0.1            # crew-days lost to rain, sickness and breakdowns
ice_hours_factor = 1.5          # a visit takes this much longer once there is ice

# Who gets the brief and the alarms. A password never stands here: README, "A brief that comes by itself".
# [mail]
# host = "mail.example.org"
# sender = "office@example.org"
# to = ["owner@example.org"]

# One block a crew. The place is where the truck stands in the morning.
{crews}"""

_CREW = """\
[[crew]]
name = {name}
latitude = {latitude}
longitude = {longitude}
start_time = 07:30:00
hours_per_day = 8               # with the driving
work_days = ["mon", "tue", "wed", "thu", "fri"]
first_day = {year}-10-01
last_day = {year}-12-05
days_off = []
"""
