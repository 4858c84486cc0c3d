"""One station's yearly files: asked politely, its whole record in their place where that saves requests.

A year that is over for good is asked once, one that the archive lacks again after 30 days, the running one at
most twice a day. A host that fails is left alone and what is kept stands.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from forecaster.errors import Notice
from forecaster.season.settings import WeatherSettings
from forecaster.weather.http import NEVER, Fetcher, FetchFailed
from forecaster.weather.kept import KeptFiles
from forecaster.weather.meteostat_source import (
    DAILY_BYTES,
    check_daily,
    daily_name,
    packed_daily,
    read_observed,
)
from forecaster.weather.station_choice import Candidate
from forecaster.weather.whole_records import ABSENT_KEPT, WORTH_YEARS, whole_years

RUNNING_KEPT = timedelta(hours=12)
"""Age up to which the file of a year that still grows is used unasked [time]."""
GIVE_UP_AFTER = 3
"""Files of one station that fail in a row before the rest of them is left for the next update."""


@dataclass(frozen=True)
class Came:
    """What came of one station: years whose file is new or `changed`, those `missing` with what went wrong
    ("" where the archive has none), and `why` the archive could not be asked ("" if it could)."""

    changed: frozenset[int]
    missing: dict[int, str]
    why: str


class YearFiles:
    """Fetches and keeps. `requests`: files fetched or confirmed by the server now; `unchanged`: files that
    needed no request; `failed`: files that could not be had."""

    def __init__(
        self, weather: WeatherSettings, fetcher: Fetcher, kept: KeptFiles, now: datetime, today: date,
        notices: list[Notice],
    ) -> None:  # fmt: skip
        self.weather, self.fetcher, self.kept = weather, fetcher, kept
        self.now, self.today, self.notices = now, today, notices
        self.requests = self.unchanged = self.failed = 0

    def fetch(self, candidate: Candidate, years: range, progress: Callable[[int, str], None]) -> Came:
        """Bring the files of `years` up to date; `progress` gets how many are done and what comes next.

        Years that still grow come first: what they hold is held against a whole record.
        """
        name = candidate.station.station_id
        growing = [year for year in years if self.today < settled_on(year)]
        over = [year for year in years if year not in growing]
        changed, missing, why, failures = set[int](), dict[int, str](), "", 0
        for done, year in enumerate((*growing, *over)):
            if done == len(growing) and not failures:
                progress(done, f"{name} whole record")
                changed |= self._whole(candidate, over, growing)
            progress(done, f"{name} {year}")
            asks = failures < GIVE_UP_AFTER
            outcome, said = self._year(name, year) if asks else self._unasked(name, year, why)
            failures = failures + 1 if said and asks else 0 if asks else failures
            why = why or said
            if outcome == "changed":
                changed.add(year)
            elif outcome == "missing":
                missing[year] = said
        return Came(frozenset(changed), missing, why)

    def _whole(self, candidate: Candidate, over: Sequence[int], growing: Sequence[int]) -> set[int]:
        """Years taken from the station's whole record, compared first with what is there of the others."""
        name = candidate.station.station_id
        lacking = [year for year in over if not self._settled(name, year)]
        if len(lacking) < WORTH_YEARS or not candidate.noaa_id:
            return set()
        files = {y: content for y in growing if (content := self.kept.content(daily_name(name, y)))}
        known = read_observed(candidate, files, before=self.today) if files else None
        url = self.weather.whole_records_url
        whole = whole_years(self.fetcher, self.kept, url, candidate, lacking, known, now=self.now)
        self.requests += whole.asked
        if whole.why:
            text = f"its whole record at NOAA ({candidate.noaa_id}) is not used: {whole.why}."
            self.notices.append(Notice(f"station {name}", text))
        if whole.leans and whole.by_year:
            text = f"the running year lies with {whole.leans} NOAA's record, which fills the years before."
            self.notices.append(Notice(f"station {name}", text))
        for year, content in whole.by_year.items():
            self.kept.put(daily_name(name, year), content, got_at=self.now, checked_at=self.now)
        return set(whole.by_year)

    def _settled(self, station_id: str, year: int) -> bool:
        """True where a year's file needs no request: kept for good, or not there when last asked."""
        entry = self.kept.entry(daily_name(station_id, year))
        if entry is None or entry.checked_at.date() < settled_on(year):
            return False
        if entry.absent:
            return self.now - entry.checked_at < ABSENT_KEPT
        return self.kept.path(entry.name).is_file()

    def _year(self, station_id: str, year: int) -> tuple[str, str]:
        """What became of one file: "changed", "same" or "missing"; and what went wrong."""
        name = daily_name(station_id, year)
        entry = self.kept.entry(name)
        settled = settled_on(year)
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
                f"{self.weather.base_url}/{name}",
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


def settled_on(year: int) -> date:
    """From when on the file of a year is taken to change no more."""
    return date(year + 1, 3, 1)
