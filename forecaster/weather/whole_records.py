"""The years of a station that are over, in one request instead of one a year.

The archive of station records has one file a station and year. For stations that NOAA's open daily archive
(GHCN-Daily) holds too, that archive's file of the whole record is fetched once and cut into the same yearly
files, so that everything after reads one layout. It is taken only where it saves requests and where its days
agree with days that the archive of station records has of the same station. Values that failed NOAA's own
checks are left out. Limits: a year with fewer than 300 minima is left to the yearly files; NOAA's daily means
start late at most stations, so they are taken only where nearly all days have one.
Source: GHCN-Daily readme-by_station.txt, NOAA NCEI; the station's id there stands in the station list.
"""

from __future__ import annotations

import gzip
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from forecaster.errors import BadInput
from forecaster.weather.ghcn import read_by_station
from forecaster.weather.http import NEVER, Fetcher, FetchFailed
from forecaster.weather.http_limits import Check
from forecaster.weather.kept import KeptFiles
from forecaster.weather.meteostat_source import NOAA_ID, DailyObserved, Floats, text_of
from forecaster.weather.own_record import OwnRecord
from forecaster.weather.station_choice import Candidate

WHOLE_BYTES = 80_000_000
"""A record of 150 years with all its elements has about 25 MB unpacked."""
WORTH_YEARS = 3
"""Years that must be lacking before the whole record is asked for instead of them."""
FEWEST_MINIMA = 300
"""Minima that a year of the whole record must have to be taken from it [days]."""
FEWEST_COMMON_DAYS = 30
AGREE_C = 1.0
"""Both archives must share 30 days of which minima and maxima differ by 1 °C at most at the median: the
same thermometer does, a station of the next town mostly not. Our choice."""
LEANS_C = 0.3
"""A median difference of the two archives that is told [°C]."""
ABSENT_KEPT = timedelta(days=30)
MEAN_SHARE = 0.9
"""Share of days with both extremes that must have a mean of NOAA's; else it is left out in all years."""
_HEADER = "year,month,day,temp,temp_source,tmin,tmin_source,tmax,tmax_source"
_SOURCE = "ghcnd"


@dataclass(frozen=True)
class WholeYears:
    """What came of a whole record: the years cut from it, whether a request was made, and in words why it
    was not used ("" for no word: it was, or the archive has none). `by_year` are files as the archive of
    station records would send them; `leans` says by how much the two archives differ on common days, "" if
    hardly."""

    by_year: Mapping[int, bytes]
    asked: bool = False
    why: str = ""
    leans: str = ""


def whole_name(noaa_id: str) -> str:
    """Name of a station's whole record behind the address of the archive.

    >>> whole_name("ZZW00000001")
    'ZZW00000001.csv.gz'
    """
    if not NOAA_ID.fullmatch(noaa_id):
        raise ValueError(f"{noaa_id!r} is no id of NOAA's archive")
    return f"{noaa_id}.csv.gz"


def check_whole(noaa_id: str) -> Check:
    """A check that a body is the by-station file of that station, packed or not."""

    def check(body: bytes, headers: Mapping[str, str]) -> None:
        text = text_of(body, WHOLE_BYTES)
        first = text.split("\n", 1)[0]
        lines = text.splitlines()
        begin = 1 if first.upper().startswith(("ID,", '"ID"')) else 0
        if not lines[begin:]:
            raise ValueError("the answer holds no day")
        for line in (*lines[begin : begin + 5], *lines[begin:][-5:]):
            cells = line.split(",")
            if len(cells) < 4 or cells[0] != noaa_id or not (cells[1].isdigit() and len(cells[1]) == 8):
                raise ValueError("the answer is not the daily record of the station")

    return check


def whole_years(
    fetcher: Fetcher,
    kept: KeptFiles,
    base_url: str,
    station: Candidate,
    years: Sequence[int],
    known: DailyObserved | None,
    *,
    now: datetime,
) -> WholeYears:
    """The lacking `years` of a station from its whole record, as far as it has them.

    Args:
        base_url: Where whole records lie; "" asks nothing.
        years: Years that are over and not kept.
        known: Days of the same station from the archive of station records, to compare; None where there
            are none yet: then nothing is taken.
    """
    if not base_url or not station.noaa_id or len(years) < WORTH_YEARS:
        return WholeYears({})
    mark = f"whole/{station.noaa_id}"
    entry = kept.entry(mark)
    if entry is not None and entry.absent and now - entry.checked_at < ABSENT_KEPT:
        return WholeYears({})
    url = f"{base_url}/{whole_name(station.noaa_id)}"
    try:
        got = fetcher.get(url, keep_for=NEVER, check=check_whole(station.noaa_id), max_bytes=WHOLE_BYTES)
    except FetchFailed as failed:
        if failed.status == 404:
            kept.put_absent(mark, now)
            return WholeYears({}, True)
        return WholeYears({}, True, failed.why)
    fetcher.forget(url)  # its years are kept: no second copy of some megabytes
    asked = got.how in ("new", "unchanged")
    try:
        record = read_by_station(_wanted(text_of(got.content, WHOLE_BYTES), min(years)), station.noaa_id)
    except BadInput as error:
        kept.put_absent(mark, now)
        return WholeYears({}, asked, f"it cannot be read ({error.problems[0].text})")
    why = differs(record, known)
    if why:
        kept.put_absent(mark, now)
        return WholeYears({}, asked, why)
    return WholeYears(cut_years(record, years), asked, leans=leans(record, known))


def differs(record: OwnRecord, known: DailyObserved | None) -> str:
    """Why a whole record cannot be the station's own, "" if its days agree with `known` ones."""
    if known is None:
        return "there is no day of the station to compare it with"
    for off in _apart(record, known):
        if off.size < FEWEST_COMMON_DAYS:
            return f"only {off.size} of its days can be compared"
        if float(np.median(np.abs(off))) > AGREE_C:
            return f"it differs by {np.median(np.abs(off)):.1f} °C from the station's days"
    return ""


def leans(record: OwnRecord, known: DailyObserved | None) -> str:
    """By how much the days of the running year lie above or below those of the whole record, in words."""
    if known is None:
        return ""
    parts = []
    for name, off in zip(("minima", "maxima"), _apart(record, known), strict=True):
        middle = -float(np.median(off)) if off.size else 0.0
        if abs(middle) >= LEANS_C:
            parts.append(f"{name} {abs(middle):.1f} °C {'above' if middle > 0 else 'below'}")
    return " and ".join(parts)


def _apart(record: OwnRecord, known: DailyObserved) -> tuple[Floats, Floats]:
    """Whole record less known days, minima and maxima [°C], on the days that both have."""
    _, at, other = np.intersect1d(record.days, known.days, return_indices=True)
    low, high = record.tmin_c[at] - known.tmin_c[other], record.tmax_c[at] - known.tmax_c[other]
    return low[np.isfinite(low)], high[np.isfinite(high)]


def cut_years(record: OwnRecord, years: Sequence[int]) -> dict[int, bytes]:
    """Yearly files of the years that have enough minima; without means where few days have one."""
    year_of = record.days.astype("datetime64[Y]").astype(np.int64) + 1970
    wanted = np.isin(year_of, list(years))
    both = wanted & np.isfinite(record.tmin_c) & np.isfinite(record.tmax_c)
    with_mean = both.any() and float(np.isfinite(record.tavg_c[both]).mean()) >= MEAN_SHARE
    files = {}
    for year in years:
        at = np.nonzero(year_of == year)[0]
        if np.isfinite(record.tmin_c[at]).sum() < FEWEST_MINIMA:
            continue
        columns = [record.tavg_c, record.tmin_c, record.tmax_c][0 if with_mean else 1 :]
        lines = [_HEADER if with_mean else _HEADER.replace("temp,temp_source,", "")]
        for position in at.tolist():
            day = record.days[position].item()
            cells = [_cell(float(values[position])) for values in columns]
            lines.append(",".join([str(day.year), str(day.month), str(day.day), *cells]))
        files[year] = gzip.compress(("\n".join(lines) + "\n").encode("utf-8"), mtime=0)
    return files


def lacks_means(content: bytes) -> bool:
    """True for a yearly file that was cut from a whole record without means."""
    header = text_of(content, WHOLE_BYTES).split("\n", 1)[0].split(",")
    return "temp" not in header


def _wanted(text: str, first_year: int) -> str:
    """The lines of temperatures from a year on: nine in ten hold something else, or are older."""
    elements = (",TMIN,", ",TMAX,", ",TAVG,")
    lines = [line for line in text.splitlines() if line[20:26] in elements]  # id, YYYYMMDD, element
    return "\n".join(line for line in lines if line[12:16] >= f"{first_year:04d}")


def _cell(value_c: float) -> str:
    return f"{value_c:.1f},{_SOURCE}" if np.isfinite(value_c) else ","
