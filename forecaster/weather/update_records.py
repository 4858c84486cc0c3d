"""Fetch the station list and the records of the stations that the sites need, and keep them.

Asked politely: a year that is over for good is asked once (most of them in one request a station, where its
whole record can be had: `whole_records`), the running one at most twice a day. When the
network is dead the files of last time stand and their age is said; a damaged file is fetched again. A station
whose record turns out too short or too old after all is left out and the next one takes its place.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from forecaster.errors import Notice
from forecaster.falls import fall_of
from forecaster.season.settings import Settings
from forecaster.season.sites import Site
from forecaster.weather.daily_csv import read_daily_csv
from forecaster.weather.http import Fetcher
from forecaster.weather.kept import CACHE_FOLDER, KeptFiles, sha256, write_whole
from forecaster.weather.meteostat_source import (
    credit_of,
    daily_name,
    read_observed,
)
from forecaster.weather.prepare import OLDEST_OBSERVATION_DAYS
from forecaster.weather.records import (
    MissingWeather,
    RecordAbout,
    RecordsAbout,
    read_about,
    record_csv,
    records_folder,
    spans_of,
    with_mean_of_extremes,
    with_new_years,
    write_about,
)
from forecaster.weather.station_choice import (
    FEWEST_YEARS,
    Candidate,
    SiteChoice,
    choose_stations,
    stations_taken,
)
from forecaster.weather.station_list import station_candidates
from forecaster.weather.update_years import Came, YearFiles
from forecaster.weather.whole_records import lacks_means

SPARE_YEARS = 4
"""Years fetched beyond the seasons wanted: some will have gaps."""
ROUNDS = 4
"""How often stations that prove unfit are replaced by the next ones."""

Progress = Callable[[int, int, str], None]
"""Called with what is done, what there is to do, and what is being done."""


@dataclass(frozen=True)
class RecordsReport:
    """What an update of the records did. `requests`: files fetched or confirmed by the server now;
    `unchanged`: files that needed no request; `failed`: files that could not be had."""

    about: RecordsAbout
    choices: tuple[SiteChoice, ...]
    requests: int
    unchanged: int
    failed: int
    notices: tuple[Notice, ...]


def update_records(
    folder: Path,
    settings: Settings,
    sites: Sequence[Site],
    fetcher: Fetcher,
    *,
    now: datetime,
    progress: Progress,
) -> RecordsReport:
    """Bring the kept records up to date.

    Args:
        folder: The season folder. Files as they came lie in its `.weather`, records made of them in `kept`
            of the weather folder.
        now: The moment, with its zone.
    Raises:
        MissingWeather: There is no list, or a site is left without any record; what was fetched is kept.
    """
    kept = KeptFiles(folder / CACHE_FOLDER)
    weather_folder = folder / settings.weather.folder
    try:
        return _Update(weather_folder, settings, sites, fetcher, kept, now, progress).run()
    finally:
        kept.close()


class _Update:
    """One update of the records."""

    def __init__(
        self,
        weather_folder: Path,
        settings: Settings,
        sites: Sequence[Site],
        fetcher: Fetcher,
        kept: KeptFiles,
        now: datetime,
        progress: Progress,
    ) -> None:
        self.folder, self.settings, self.sites = weather_folder, settings, sites
        self.fetcher, self.kept, self.now, self.progress = fetcher, kept, now, progress
        self.today = now.astimezone(ZoneInfo(settings.season.timezone)).date()
        self.notices: list[Notice] = []
        self.records: dict[str, RecordAbout] = {}
        self.unfit: dict[str, str] = {}
        self.middle: list[str] = []
        self.files = YearFiles(settings.weather, fetcher, kept, now, self.today, self.notices)
        before = read_about(weather_folder)
        self.before = {record.station_id: record for record in before.records} if before else {}

    def run(self) -> RecordsReport:
        weather = self.settings.weather
        candidates = station_candidates(self.fetcher, self.kept, self.settings, self.sites, self.notices)
        by_id = {candidate.station.station_id: candidate for candidate in candidates}
        choices: tuple[SiteChoice, ...] = ()
        for _ in range(ROUNDS):
            choices = choose_stations(
                self.sites,
                candidates,
                per_site=weather.stations_per_site,
                years=weather.seasons,
                today=self.today,
                only=weather.stations,
                never={*weather.exclude_stations, *self.unfit},
            )
            new = [by_id[name] for name in stations_taken(choices) if name not in self.records]
            if not new:
                break
            self._fetch_and_read(new)
        return self._report(choices)

    def _report(self, choices: tuple[SiteChoice, ...]) -> RecordsReport:
        used = [self.records[name] for name in stations_taken(choices) if name in self.records]
        used = [record for record in used if record.sha256]
        for name, why in sorted(self.unfit.items()):
            self.notices.append(Notice(f"station {name}", f"not used: {why}."))
        if self.middle:
            text = "are the middle of minimum and maximum: older years have no other."
            self.notices.append(Notice("station records", f"daily means of {', '.join(self.middle)} {text}"))
        have = {record.station_id for record in used}
        bare = [choice.site_id for choice in choices if not have & set(choice.taken)]
        if used:
            sites = tuple(site.site_id for site in self.sites)
            write_about(self.folder, RecordsAbout(self.today.isoformat(), tuple(used), sites))
        if bare:
            shown = ", ".join(bare[:10]) + (f" and {len(bare) - 10} more" if len(bare) > 10 else "")
            why = "; ".join(str(notice) for notice in self.notices[-5:])
            cure = "Try again with a network, or add own files: forecaster weather add."
            said = f" ({why})" if why else ""
            raise MissingWeather(f"No station record for {shown}{said}. {cure}")
        self.notices += [Notice("kept files", note) for note in (*self.kept.notes, *self.fetcher.notes)]
        about = RecordsAbout(self.today.isoformat(), tuple(used))
        return RecordsReport(
            about, choices, self.files.requests, self.files.unchanged, self.files.failed, tuple(self.notices)
        )

    def _fetch_and_read(self, stations: Sequence[Candidate]) -> None:
        wanted = {c.station.station_id: self._years(c) for c in stations}
        total = sum(len(years) for years in wanted.values())
        done = 0
        for candidate in stations:
            years = wanted[candidate.station.station_id]
            came = self.files.fetch(candidate, years, _from(done, total, self.progress))
            done += len(years)
            self._read(candidate, years, came)
        self.progress(total, total, "records")

    def _years(self, candidate: Candidate) -> range:
        fall = fall_of(self.today)
        first = (self.today.year if fall is None else fall) - self.settings.weather.seasons - SPARE_YEARS
        if candidate.first_day is not None:
            first = max(first, candidate.first_day.year)
        return range(first, self.today.year + 1)

    def _read(self, candidate: Candidate, years: range, came: Came) -> None:
        """Make or renew the record of one station from its kept files."""
        changed, missing, why = came.changed, came.missing, came.why
        station = candidate.station
        old = self.before.get(station.station_id)
        path = records_folder(self.folder) / f"{station.station_id}.csv"
        whole = old is not None and path.is_file() and sha256(path.read_bytes()) == old.sha256
        parse = sorted(changed) if whole else [year for year in years if year not in missing]
        zone = ZoneInfo(candidate.timezone or self.settings.season.timezone)
        before = self.now.astimezone(zone).date()
        names = {year: daily_name(station.station_id, year) for year in parse}
        files = {year: content for year, name in names.items() if (content := self.kept.content(name))}
        found = read_observed(candidate, files, before=before) if files else None
        middle = any(map(lacks_means, files.values())) or (whole and old is not None and old.mean_of_extremes)
        if found is not None and whole and old is not None:
            found = with_new_years(path, old, found, set(parse))
        if found is not None and middle:
            found = with_mean_of_extremes(found)
            if old is None or not old.mean_of_extremes:
                self.middle.append(station.station_id)
        checked_on = self._checked_on(station.station_id, years[-1])
        about = RecordAbout(
            station.station_id, station.name, station.latitude, station.longitude, station.elevation_m,
            timezone=candidate.timezone, checked_on=checked_on,
        )  # fmt: skip
        if old is not None and whole:
            kept = ("sha256", "modelled", "partly", "sources", "credit", "mean_of_extremes")
            about = replace(about, **{name: getattr(old, name) for name in kept})
        absent = tuple(sorted(year for year, said in missing.items() if not said))
        about = replace(about, why=why, missing_years=absent)
        if found is not None:
            content = record_csv(found.days, found.tmin_c, found.tavg_c, found.tmax_c)
            write_whole(path, content)
            about = replace(
                about, sha256=sha256(content), modelled=spans_of(found.modelled_days),
                partly=spans_of(found.partly_days), sources=found.sources, credit=credit_of(found.sources),
                mean_of_extremes=middle,
            )  # fmt: skip
        self.records[station.station_id] = about
        named = station.station_id in self.settings.weather.stations
        unfit = "" if named else self._unfit(path, about, missing)
        if unfit:
            self.unfit[station.station_id] = unfit
        failed = [year for year, said in missing.items() if said and year < self.today.year]
        if failed and not unfit:
            text = f"{_list(failed)} could not be had: {missing[failed[0]]}. The next update asks again."
            self.notices.append(Notice(f"station {station.station_id}", text))
        elif why and not unfit:
            text = f"the records of {checked_on} are used: {why}."
            self.notices.append(Notice(f"station {station.station_id}", text))

    def _checked_on(self, station_id: str, last_year: int) -> str:
        """The day on which the archive last stood by the newest file."""
        for year in (last_year, last_year - 1):
            entry = self.kept.entry(daily_name(station_id, year))
            if entry is not None:
                return entry.checked_at.astimezone(ZoneInfo(self.settings.season.timezone)).date().isoformat()
        return self.today.isoformat()

    def _unfit(self, path: Path, about: RecordAbout, missing: Mapping[int, str]) -> str:
        """Why a record cannot serve, "" if it can. A network that is down is no reason to look elsewhere."""
        if any(missing.values()) or about.why:
            return "" if about.sha256 else "none of its files could be had"
        if not about.sha256:
            return "its record is empty"
        rows = read_daily_csv(path, path.name, date_columns=("date",), value_columns=("tmin", "tavg", "tmax"))
        known = np.isfinite(rows.values["tmin"])
        if not known.any():
            return "it measures no minima"
        days = rows.dates["date"][known]
        years = days.size / 365.25
        if years < FEWEST_YEARS:
            return f"minima of only {years:.0f} years came ({FEWEST_YEARS} are needed)"
        if days[-1].item() < self.today - timedelta(days=OLDEST_OBSERVATION_DAYS):
            return f"its last minimum is of {days[-1]}"
        return ""


def _from(done: int, total: int, progress: Progress) -> Callable[[int, str], None]:
    """The progress of one station as part of the whole."""
    return lambda at, text: progress(done + at, total, text)


def _list(years: Sequence[int]) -> str:
    if len(years) > 3 and years[-1] - years[0] == len(years) - 1:
        return f"{years[0]} to {years[-1]}"
    return ", ".join(map(str, years))
