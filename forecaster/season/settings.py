"""What the office decides for a season: `season.toml`, in the program's units. An unknown name fails.

Inside: °C, km/h, local dates and times. Each table of the file is one record here; keys ending in `_f` may
be written `_c`, and `speed_mph` as `speed_km_h`. Limit: checks the file alone, not the sites or weather.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, time
from pathlib import Path
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from pydantic import BaseModel, BeforeValidator, Field

from forecaster.errors import BadInput, Problem, did_you_mean
from forecaster.falls import fall_end, fall_start
from forecaster.season.addresses import base_address, station_ids, variable_name
from forecaster.season.cells import parse_weekday
from forecaster.season.closed import Closed, clock
from forecaster.season.message_settings import AlarmSettings, BriefSettings, MailSettings
from forecaster.season.moments import parse_day
from forecaster.season.quantities import shown
from forecaster.season.settings_problems import TableCheck, as_written, keys_of, parse_toml
from forecaster.season.tables import decode, read_bytes
from forecaster.season.winter_settings import OfficeSettings, WinterSettings
from forecaster.units import KM_PER_MILE, c_to_f, f_to_c


def _day(value: object) -> object:
    return parse_day(value.strip()) if isinstance(value, str) else value


def _zone(value: object) -> object:
    """The name of a time zone; refuses names that the time zone database does not hold."""
    if isinstance(value, str):
        try:
            ZoneInfo(value)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            hint = did_you_mean(value, available_timezones()) if "/" in value else ""
            hint = hint or " Write area and city, like America/Chicago."
            raise ValueError(f'"{value}" is not a time zone.{hint}') from None
    return value


def _weekdays(value: object) -> object:
    if isinstance(value, list) and value and all(isinstance(name, str) for name in value):
        return frozenset(parse_weekday(name) for name in value)
    raise ValueError(f'{as_written(value)} is not a list of days. Write it like ["mon", "tue", "wed"].')


def _days(value: object) -> object:
    if isinstance(value, list):
        days = [_day(item) for item in value]
        if all(type(day) is date for day in days):
            return frozenset(days)
    raise ValueError(f"{as_written(value)} is not a list of dates. Write it like [2025-11-27, 2025-11-28].")


_Address = Annotated[str, BeforeValidator(base_address)]
_AddressOrNone = Annotated[str, BeforeValidator(lambda value: base_address(value) if value != "" else "")]


class Season(Closed):
    """Table [season]. `year` is the year of the fall's August; `members` courses of the season are drawn.

    A season without a name is called after its year.
    """

    year: int = Field(ge=1900, le=2199, examples=["2025"])
    timezone: Annotated[str, BeforeValidator(_zone)] = Field(examples=['"America/Chicago"'])
    name: str = ""
    units: Literal["us", "metric"] = "us"
    seed: int = Field(default=1, ge=0, le=2**32 - 1)
    members: int = Field(default=1500, ge=100, le=20_000)


class WeatherSettings(Closed):
    """Table [weather]: where station records and outlooks come from; `folder` lies in the season folder.

    `contact`: address or page of the office, sent with every request as the services ask. `stations`: if
    given, these serve all sites; `exclude_stations` never do. `api_key_env`: name of the environment variable
    that holds a service's key. The `_url` settings say where each service is asked.
    """

    source: Literal["files", "meteostat"] = "files"
    folder: str = Field(default="weather", min_length=1)
    stations_per_site: int = Field(default=3, ge=1, le=5)
    seasons: int = Field(default=30, ge=15, le=100)
    outlook: Literal["none", "files", "nws", "met-norway", "open-meteo"] = "none"
    contact: str = ""
    stations: Annotated[tuple[str, ...], BeforeValidator(station_ids)] = ()
    exclude_stations: Annotated[tuple[str, ...], BeforeValidator(station_ids)] = ()
    api_key_env: Annotated[str, BeforeValidator(variable_name)] = ""
    base_url: _Address = "https://data.meteostat.net"
    whole_records_url: _AddressOrNone = "https://www.ncei.noaa.gov/pub/data/ghcn/daily/by_station"
    nws_url: _Address = "https://api.weather.gov"
    met_norway_url: _Address = "https://api.met.no/weatherapi/locationforecast/2.0/complete"
    open_meteo_url: _Address = "https://customer-api.open-meteo.com/v1/forecast"
    open_meteo_ensemble_url: _Address = "https://customer-ensemble-api.open-meteo.com/v1/ensemble"
    open_meteo_past_url: _Address = "https://customer-previous-runs-api.open-meteo.com/v1/forecast"
    geocoder_url: _Address = "https://geocoding.geo.census.gov/geocoder/locations/addressbatch"


class Thresholds(Closed):
    """Table [thresholds], limits of daily mean water and of a day's minimum air [°C], days [days].

    50 and 45 °F and 28 °F are common practice, no source; 20 °F is the alert for unprotected pipes given by
    the Building Research Council, University of Illinois (for houses: for ponds an assumption).
    """

    start_c: float = Field(default=f_to_c(50), ge=0, le=20)
    sustained_c: float = Field(default=f_to_c(45), ge=0, le=20)
    hold_days: int = Field(default=5, ge=1, le=30)
    freeze_c: float = Field(default=0.0, ge=-5, le=5)
    hard_freeze_c: float = Field(default=f_to_c(28), ge=-15, le=0)
    plumbing_freeze_c: float = Field(default=f_to_c(20), ge=-20, le=0)


class Costs(Closed):
    """Table [costs] [$]: what closing too early or too late, driving and moving a told date cost."""

    warm_day: float = Field(default=10.0, ge=0, le=100_000)
    hard_freeze: float = Field(default=60.0, ge=0, le=100_000)
    plumbing_freeze: float = Field(default=400.0, ge=0, le=100_000)
    ice: float = Field(default=150.0, ge=0, le=100_000)
    drive_hour: float = Field(default=60.0, ge=0, le=100_000)
    move_told_date: float = Field(default=25.0, ge=0, le=100_000)
    window_margin: float = Field(default=15.0, ge=0, le=100_000)


class RouteSettings(Closed):
    """Table [route]. `max_caught`: ponds that may still be open at their first hard freeze, None is no limit;
    `caught_chance`: the chance with which that must hold; `road_factor`: road over straight line;
    `speed_km_h` [km/h]; `lost_day_share`: share of crew-days lost to weather and breakdowns."""

    max_caught: int | None = Field(default=None, ge=0, le=10_000)
    caught_chance: float = Field(default=0.9, ge=0.5, le=1)
    road_factor: float = Field(default=1.3, ge=1, le=5)
    speed_km_h: float = Field(default=35 * KM_PER_MILE, ge=5 * KM_PER_MILE, le=80 * KM_PER_MILE)
    lost_day_share: float = Field(default=0.1, ge=0, le=0.9)
    ice_hours_factor: float = Field(default=1.5, ge=1, le=10)


class SnapSettings(Closed):
    """Table [snap]: what counts after a cold snap. `quick_visit_minutes`: power off, pump out or lines
    drained; `soon_days`: nights that a visit today is weighed against; `look_back_days`: days in which a snap
    is looked for; `quick_chance`: a plumbing freeze within `soon_days` is near from this chance on;
    `running_share`: share of the plumbing risk where water runs through the lines; `early_look_share`: share
    of a damage that an early look saves; `fish_loss` [$]: what fish under closed ice stand for;
    `ice_cover_days`: cover of so many days may hold the gases in. Minutes, prices and shares are common
    practice, no source."""

    quick_visit_minutes: int = Field(default=25, ge=5, le=120)
    soon_days: int = Field(default=3, ge=1, le=10)
    look_back_days: int = Field(default=10, ge=1, le=60)
    quick_chance: float = Field(default=0.2, ge=0.01, le=1)
    running_share: float = Field(default=0.5, ge=0, le=1)
    early_look_share: float = Field(default=0.25, ge=0, le=1)
    fish_loss: float = Field(default=250.0, ge=0, le=100_000)
    ice_cover_days: int = Field(default=4, ge=1, le=30)


class Crew(Closed):
    """One table [[crew]]: works on `work_days` (0 = Monday) from `first_day` to `last_day`, both included,
    but not on `days_off`; starts from its place at `start_time`, `hours_per_day` [h] with the driving."""

    name: str = Field(min_length=1, examples=['"North"'])
    latitude: float = Field(ge=-90, le=90, examples=["43.05"])
    longitude: float = Field(ge=-180, le=180, examples=["-87.95"])
    hours_per_day: float = Field(ge=1, le=16, examples=["8"])
    work_days: Annotated[frozenset[int], BeforeValidator(_weekdays)] = Field(
        examples=['["mon", "tue", "wed", "thu", "fri"]']
    )
    first_day: Annotated[date, BeforeValidator(_day)] = Field(examples=["2025-09-15"])
    last_day: Annotated[date, BeforeValidator(_day)] = Field(examples=["2025-12-05"])
    start_time: Annotated[time, BeforeValidator(clock)] = time(7, 30)
    days_off: Annotated[frozenset[date], BeforeValidator(_days)] = frozenset()

    def works_on(self, day: date) -> bool:
        """True where the crew works on `day`."""
        in_season = self.first_day <= day <= self.last_day
        return in_season and day.weekday() in self.work_days and day not in self.days_off


class Settings(Closed):
    """The whole of `season.toml`."""

    season: Season
    weather: WeatherSettings = WeatherSettings()
    thresholds: Thresholds = Thresholds()
    costs: Costs = Costs()
    route: RouteSettings = RouteSettings()
    snap: SnapSettings = SnapSettings()
    brief: BriefSettings = BriefSettings()
    alarms: AlarmSettings = AlarmSettings()
    mail: MailSettings = MailSettings()
    winter: WinterSettings = WinterSettings()
    office: OfficeSettings = OfficeSettings()
    crews: tuple[Crew, ...] = ()


_TABLES: dict[str, type[BaseModel]] = {
    "season": Season,
    "weather": WeatherSettings,
    "thresholds": Thresholds,
    "costs": Costs,
    "route": RouteSettings,
    "snap": SnapSettings,
    "brief": BriefSettings,
    "alarms": AlarmSettings,
    "mail": MailSettings,
    "winter": WinterSettings,
    "office": OfficeSettings,
    "crew": Crew,
}


def read_settings(path: Path) -> Settings:
    """Read `season.toml`; `path` is the file or the season folder.

    Raises:
        BadInput: The file is missing, is no UTF-8 text or no TOML, or some settings cannot be used: all of
            them at once, each with the nearest name, the allowed range or the likely unit.
    """
    path = path / "season.toml" if path.is_dir() else path
    text = decode(read_bytes(path), path.name)
    if not text.strip():
        cure = 'It needs at least [season] with year and timezone, like timezone = "America/Chicago".'
        raise BadInput(Problem(path.name, f"the file is empty. {cure}"))
    raw = parse_toml(text, path.name)
    check = TableCheck(
        path.name, {key: _shown(name) for name, record in _TABLES.items() for key in keys_of(record)}
    )
    _refuse_unknown_tables(raw, check)
    season = check.read(Season, raw.get("season", {}), "[season]")
    weather = check.read(WeatherSettings, raw.get("weather", {}), "[weather]")
    thresholds = check.read(Thresholds, raw.get("thresholds", {}), "[thresholds]")
    costs = check.read(Costs, raw.get("costs", {}), "[costs]")
    route = check.read(RouteSettings, raw.get("route", {}), "[route]")
    snap = check.read(SnapSettings, raw.get("snap", {}), "[snap]")
    brief = check.read(BriefSettings, raw.get("brief", {}), "[brief]")
    alarms = check.read(AlarmSettings, raw.get("alarms", {}), "[alarms]")
    mail = check.read(MailSettings, raw.get("mail", {}), "[mail]")
    winter = check.read(WinterSettings, raw.get("winter", {}), "[winter]")
    office = check.read(OfficeSettings, raw.get("office", {}), "[office]")
    crews = _crews(raw.get("crew", []), season, check)
    if thresholds is not None:
        _check_order(thresholds, raw.get("thresholds", {}), check)
    if winter is not None and winter.out_of_order():
        text = "it is below deicer_on. Write that or more: a thermostat switches off where water is warmer."
        check.add("[winter]", "deicer_off", text)
    if season is not None and not season.name:
        season = season.model_copy(update={"name": f"Fall {season.year}"})
    tables = {
        "season": season,
        "weather": weather,
        "thresholds": thresholds,
        "costs": costs,
        "route": route,
        "snap": snap,
        "brief": brief,
        "alarms": alarms,
        "mail": mail,
        "winter": winter,
        "office": office,
    }
    if not check.problems and all(table is not None for table in tables.values()):
        return Settings(**tables, crews=crews)  # type: ignore[arg-type]
    raise BadInput(check.problems)


def crews_for_fall(crews: Iterable[Crew], settings_year: int, fall: int) -> tuple[Crew, ...]:
    """The crews with their dates moved from the fall of `settings_year` to `fall`, same month and day.

    January belongs to the fall of the year before, so its dates move by the same number of years.

    >>> crew = Crew(name="A", latitude=43.0, longitude=-88.0, hours_per_day=8.0, work_days=["mon"],
    ...             first_day=date(2025, 10, 1), last_day=date(2026, 1, 9))
    >>> moved = crews_for_fall([crew], 2025, 2019)[0]
    >>> moved.first_day, moved.last_day
    (datetime.date(2019, 10, 1), datetime.date(2020, 1, 9))
    """

    def moved(day: date) -> date:
        leap_day = day.month == 2 and day.day == 29
        return day.replace(year=day.year + fall - settings_year, day=28 if leap_day else day.day)

    return tuple(
        crew.model_copy(
            update={
                "first_day": moved(crew.first_day),
                "last_day": moved(crew.last_day),
                "days_off": frozenset(moved(day) for day in crew.days_off),
            }
        )
        for crew in crews
    )


def _shown(table: str) -> str:
    return "[[crew]]" if table == "crew" else f"[{table}]"


def _refuse_unknown_tables(raw: dict[str, Any], check: TableCheck) -> None:
    for name, value in raw.items():
        if name in _TABLES:
            continue
        if isinstance(value, dict | list) and name not in check.homes:
            known = ", ".join(_shown(table) for table in _TABLES)
            homes = (
                {check.homes[key] for key in value if key in check.homes} if isinstance(value, dict) else ()
            )
            hint = f" Its settings belong in {' and '.join(sorted(homes))}." if homes else ""
            hint = hint or did_you_mean(name, _TABLES) or f" The tables are {known}."
            check.add(f"[{name}]", "", f"no such table.{hint}")
        else:
            home = check.homes.get(name)
            hint = f" Put it below {home}." if home else did_you_mean(name, check.homes)
            check.add(name, "", f"no such setting above the first table.{hint}")


def _crews(raw: object, season: Season | None, check: TableCheck) -> tuple[Crew, ...]:
    if not isinstance(raw, list) or not all(isinstance(table, dict) for table in raw):
        check.add(
            "[crew]", "", "each crew is a table of its own. Write [[crew]], with two brackets, for each."
        )
        return ()
    crews, seen = [], dict[str, int]()
    for number, table in enumerate(raw, start=1):
        name = table.get("name")
        place = f"[[crew]] {number}" + (f' "{name}"' if isinstance(name, str) and name else "")
        crew = check.read(Crew, table, place)
        if isinstance(name, str) and name:
            first = seen.setdefault(name.casefold(), number)
            if first != number:
                check.add(place, "name", f"crew {first} has this name too. Give each crew its own.")
            if ";" in name:
                check.add(
                    place, "name", "holds a semicolon, which parts crews in the site sheet. Leave it out."
                )
        if crew is not None:
            crews.append(crew)
            _check_crew(crew, place, season, check)
    return tuple(crews)


def _check_crew(crew: Crew, place: str, season: Season | None, check: TableCheck) -> None:
    """Dates of one crew against each other and against the season's fall."""
    if crew.last_day < crew.first_day:
        text = f"{crew.last_day} is before first_day ({crew.first_day}). Exchange or correct them."
        check.add(place, "last_day", text)
    elif season is not None:
        start, end = fall_start(season.year), fall_end(season.year)
        if crew.last_day < start or crew.first_day > end:
            text = (
                f"{crew.first_day} to {crew.last_day} is not in the fall of {season.year} ({start} to {end})."
            )
            check.add(place, "first_day", f"{text} Correct the years.")
        for day in sorted(crew.days_off):
            if not date(season.year, 2, 1) <= day <= end:
                text = f"{day} is not in the year of this season ({season.year}-02-01 to {end})."
                check.add(place, "days_off", f"{text} Correct its year or take it out.")


def _check_order(thresholds: Thresholds, raw: dict[str, Any], check: TableCheck) -> None:
    """Water settles later than it reaches the start; a harder freeze is colder."""
    for lower, upper in (
        ("sustained", "start"),
        ("hard_freeze", "freeze"),
        ("plumbing_freeze", "hard_freeze"),
    ):
        low_c, high_c = getattr(thresholds, f"{lower}_c"), getattr(thresholds, f"{upper}_c")
        if low_c <= high_c + 1e-9:
            continue
        metric = f"{lower}_c" in raw or (f"{lower}_f" not in raw and f"{upper}_c" in raw)
        suffix, low, high = ("c", low_c, high_c) if metric else ("f", c_to_f(low_c), c_to_f(high_c))
        found = (
            f"{shown(round(low, 2))} °{suffix.upper()} is above {upper}_{suffix} ({shown(round(high, 2))})"
        )
        check.add(
            "[thresholds]", f"{lower}_{suffix}", f"{found}. Write that or less, or raise {upper}_{suffix}."
        )
