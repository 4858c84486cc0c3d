"""Fetch the station list and the records of the stations that the sites need, and keep them.

Asked politely: a year that is over for good is asked once, the running one at most twice a day. When the
network is dead the files of last time stand and their age is said; a damaged file is fetched again. A station
whose record turns out too short or too old after all is left out and the next one takes its place.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from forecaster.errors import Notice
from forecaster.falls import fall_of
from forecaster.season.settings import Settings
from forecaster.season.sites import Site
from forecaster.weather.daily_csv import read_daily_csv
from forecaster.weather.http import NEVER, Fetcher, FetchFailed
from forecaster.weather.kept import CACHE_FOLDER, KeptFiles, sha256, write_whole
from forecaster.weather.meteostat_source import (
    DAILY_BYTES,
    check_daily,
    credit_of,
    daily_name,
    packed_daily,
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

RUNNING_KEPT = timedelta(hours=12)
"""Age up to which the file of a year that still grows is used unasked [time]."""
ABSENT_KEPT = timedelta(days=30)
"""How long "the archive has no such year" is believed of a year that is over [time]."""
SPARE_YEARS = 4
"""Years fetched beyond the seasons wanted: some will have gaps."""
GIVE_UP_AFTER = 3
"""Files of one station that fail in a row before the rest of them is left for the next update."""
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
        self.requests = self.unchanged = self.failed = 0
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
        return RecordsReport(about, choices, self.requests, self.unchanged, self.failed, tuple(self.notices))

    def _fetch_and_read(self, stations: Sequence[Candidate]) -> None:
        wanted = {c.station.station_id: self._years(c) for c in stations}
        total = sum(len(years) for years in wanted.values())
        done = 0
        for candidate in stations:
            name = candidate.station.station_id
            changed, missing, why, failures = set[int](), dict[int, str](), "", 0
            for year in wanted[name]:
                self.progress(done, total, f"{name} {year}")
                asks = failures < GIVE_UP_AFTER
                outcome, said = self._year(name, year) if asks else self._unasked(name, year, why)
                failures = failures + 1 if said and asks else 0 if asks else failures
                why = why or said
                if outcome == "changed":
                    changed.add(year)
                elif outcome == "missing":
                    missing[year] = said
                done += 1
            self._read(candidate, wanted[name], changed, missing, why)
        self.progress(total, total, "records")

    def _years(self, candidate: Candidate) -> range:
        fall = fall_of(self.today)
        first = (self.today.year if fall is None else fall) - self.settings.weather.seasons - SPARE_YEARS
        if candidate.first_day is not None:
            first = max(first, candidate.first_day.year)
        return range(first, self.today.year + 1)

    def _year(self, station_id: str, year: int) -> tuple[str, str]:
        """What became of one file: "changed", "same" or "missing"; and what went wrong."""
        name = daily_name(station_id, year)
        entry = self.kept.entry(name)
        settled = date(year + 1, 3, 1)
        over = entry is not None and entry.checked_at.date() >= settled
        if entry is not None and entry.absent:
            if self.now - entry.checked_at < (ABSENT_KEPT if over else RUNNING_KEPT):
                self.unchanged += 1
                return "missing", ""
        elif over and self.kept.content(name) is not None:
            self.unchanged += 1
            return "same", ""
        keep_for = NEVER if self.today >= settled else RUNNING_KEPT
        try:
            got = self.fetcher.get(
                f"{self.settings.weather.base_url}/{name}",
                keep_for=keep_for, check=check_daily(year), max_bytes=DAILY_BYTES,
            )  # fmt: skip
        except FetchFailed as failed:
            if failed.status == 404:
                self.requests += 1
                self.kept.put_absent(name, self.now)
                return "missing", ""
            self.failed += 1
            return self._unasked(station_id, year, failed.why)
        self.requests += got.how in ("new", "unchanged")
        self.unchanged += got.how == "recent"
        self.failed += got.is_old
        changed = self.kept.put(
            name, packed_daily(got.content), got_at=got.got_at, checked_at=got.checked_at, why=got.why
        )
        return "changed" if changed else "same", got.why

    def _unasked(self, station_id: str, year: int, why: str) -> tuple[str, str]:
        """As `_year`, from what is kept alone."""
        kept = self.kept.content(daily_name(station_id, year)) is not None
        return ("same" if kept else "missing"), why

    def _read(
        self, candidate: Candidate, years: range, changed: set[int], missing: Mapping[int, str], why: str
    ) -> None:
        """Make or renew the record of one station from its kept files."""
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
        if found is not None and whole and old is not None:
            found = with_new_years(path, old, found, set(parse))
        checked_on = self._checked_on(station.station_id, years[-1])
        about = RecordAbout(
            station.station_id, station.name, station.latitude, station.longitude, station.elevation_m,
            timezone=candidate.timezone, checked_on=checked_on,
        )  # fmt: skip
        if old is not None and whole:
            kept = ("sha256", "modelled", "partly", "sources", "credit")
            about = replace(about, **{name: getattr(old, name) for name in kept})
        absent = tuple(sorted(year for year, said in missing.items() if not said))
        about = replace(about, why=why, missing_years=absent)
        if found is not None:
            content = record_csv(found.days, found.tmin_c, found.tavg_c, found.tmax_c)
            write_whole(path, content)
            about = replace(
                about, sha256=sha256(content), modelled=spans_of(found.modelled_days),
                partly=spans_of(found.partly_days), sources=found.sources, credit=credit_of(found.sources),
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


def _list(years: Sequence[int]) -> str:
    if len(years) > 3 and years[-1] - years[0] == len(years) - 1:
        return f"{years[0]} to {years[-1]}"
    return ", ".join(map(str, years))
