"""Outlooks kept in the season folder: `outlook-kept/<station_id>.csv`, one row a day of each issue.

Every outlook that was fetched stays, with its issue time and source: from what was kept the program learns
how wrong outlooks are. The same issue is kept once. Limit: written by the program; rows that cannot be read
are refused, because a guess would teach wrong errors.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np

from forecaster.errors import BadInput, Problem
from forecaster.weather.kept import write_whole
from forecaster.weather.outlook_days import DayValues, local_day
from forecaster.weather.stations import Outlook

KEPT_OUTLOOKS = "outlook-kept"
"""Folder inside the weather folder."""
COLUMNS = (
    *("issued", "issued_at", "source", "kind", "fetched_at", "date"),
    *("tmin", "tmax", "tmean", "tmin_sd", "tmean_sd"),
)
Kind = Literal["forecast", "past"]
_FILE_ID = re.compile(r"[\w\-][\w.\-]*")


@dataclass(frozen=True, eq=False)
class KeptOutlook:
    """An outlook with what is kept beside it.

    `kind`: "forecast" as it was fetched on its day, "past" if put together later from an archive of past
    forecasts. `fetched_at` (UTC). `tmin_sd_c`, `tmean_sd_c` [°C], shape (day,): spread of the source's own
    ensemble, NaN where it has none.
    """

    outlook: Outlook
    kind: Kind
    fetched_at: datetime
    tmin_sd_c: np.ndarray
    tmean_sd_c: np.ndarray

    @property
    def with_spread(self) -> Outlook:
        """The outlook with the spread of its ensemble, if it has any."""
        if not (np.isfinite(self.tmin_sd_c).any() or np.isfinite(self.tmean_sd_c).any()):
            return self.outlook
        return replace(self.outlook, spread_min_c=self.tmin_sd_c, spread_mean_c=self.tmean_sd_c)


def make_kept(
    station_id: str,
    days: Sequence[DayValues],
    *,
    source: str,
    issued_at: datetime,
    fetched_at: datetime,
    zone: ZoneInfo,
    kind: Kind = "forecast",
    spread: Sequence[tuple[float, float]] | None = None,
) -> KeptOutlook:
    """An outlook of the days from its issue on; earlier days are left out.

    Args:
        days: In order.
        issued_at: Decides the day of issue in `zone`.
        spread: Standard deviations of minimum and mean [°C], one pair a day.
    """
    issued = local_day(issued_at, zone)
    pairs = spread or [(np.nan, np.nan)] * len(days)
    coming = [(d, s) for d, s in zip(days, pairs, strict=True) if d.day >= issued]
    outlook = Outlook(
        station_id=station_id,
        issued=issued,
        days=tuple(d.day for d, _ in coming),
        tmin_c=np.array([d.tmin_c for d, _ in coming], dtype=np.float64),
        tmax_c=np.array([d.tmax_c for d, _ in coming], dtype=np.float64),
        source=source,
        tmean_c=np.array([d.tmean_c for d, _ in coming], dtype=np.float64),
        issued_at=issued_at,
    )
    low, mean = (np.array([s[i] for _, s in coming], dtype=np.float64) for i in (0, 1))
    return KeptOutlook(outlook, kind, fetched_at, low, mean)


def keep_outlooks(folder: Path, outlooks: Iterable[KeptOutlook]) -> int:
    """Add outlooks to the files of the weather folder; returns how many were not there yet.

    Raises:
        BadInput: A file that is there cannot be read: nothing is added to it.
    """
    by_station: dict[str, list[KeptOutlook]] = {}
    for kept in outlooks:
        by_station.setdefault(kept.outlook.station_id, []).append(kept)
    added = 0
    for station_id, found in sorted(by_station.items()):
        if not _FILE_ID.fullmatch(station_id):
            raise ValueError(f"{station_id!r} is no station's id")
        path = folder / KEPT_OUTLOOKS / f"{station_id}.csv"
        before = _read_file(path, station_id) if path.is_file() else []
        known = {_key(kept) for kept in before}
        new = [kept for kept in found if _key(kept) not in known and kept.outlook.days]
        if new:
            write_whole(path, _as_csv([*before, *new]).encode("utf-8"))
            added += len(new)
    return added


def read_kept(
    folder: Path, station_ids: Collection[str], *, as_of: date, source: str | None = None
) -> tuple[KeptOutlook, ...]:
    """Kept outlooks issued up to `as_of`, by station and time of issue.

    Args:
        folder: The weather folder.
        station_ids: Whose outlooks.
        as_of: Later issues are not returned.
        source: Only this source's; None for all.
    Raises:
        BadInput: Rows that cannot be read, those of all files at once.
    """
    problems: list[Problem] = []
    kept: list[KeptOutlook] = []
    for station_id in sorted(set(station_ids)):
        path = folder / KEPT_OUTLOOKS / f"{station_id}.csv"
        if not path.is_file():
            continue
        try:
            found = _read_file(path, station_id)
        except BadInput as error:
            problems.extend(error.problems)
            continue
        kept += [
            k for k in found if k.outlook.issued <= as_of and (source is None or k.outlook.source == source)
        ]
    if problems:
        raise BadInput(problems)
    return tuple(kept)


def one_a_day(kept: Iterable[KeptOutlook]) -> tuple[KeptOutlook, ...]:
    """One outlook a station, source and day of issue: the last one fetched on that day, else a past one."""
    best: dict[tuple[str, str, date], KeptOutlook] = {}
    for outlook in kept:
        key = (outlook.outlook.station_id, outlook.outlook.source, outlook.outlook.issued)
        if key not in best or _rank(outlook) > _rank(best[key]):
            best[key] = outlook
    return tuple(best[key] for key in sorted(best))


def kept_issues(folder: Path, station_ids: Collection[str], source: str) -> list[Outlook]:
    """All kept outlooks of one service, one a station and day of issue, for a replay.

    Raises:
        BadInput: Rows that cannot be read.
    """
    return [
        kept.with_spread for kept in one_a_day(read_kept(folder, station_ids, as_of=date.max, source=source))
    ]


def _rank(kept: KeptOutlook) -> tuple[bool, datetime, datetime]:
    return kept.kind == "forecast", kept.outlook.issued_at or kept.fetched_at, kept.fetched_at


def _key(kept: KeptOutlook) -> tuple[str, str, str]:
    at = kept.outlook.issued_at or kept.fetched_at
    return kept.outlook.source, kept.kind, at.astimezone(UTC).isoformat(timespec="seconds")


def _as_csv(kept: Sequence[KeptOutlook]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for one in sorted(kept, key=lambda k: (_key(k)[2], _key(k))):
        outlook = one.outlook
        means = outlook.tmean_c if outlook.tmean_c is not None else np.full(len(outlook.days), np.nan)
        stamp = one.fetched_at.astimezone(UTC).isoformat(timespec="seconds")
        for at, day in enumerate(outlook.days):
            numbers = (outlook.tmin_c, outlook.tmax_c, means, one.tmin_sd_c, one.tmean_sd_c)
            cells = ["" if np.isnan(n[at]) else f"{n[at]:.2f}" for n in numbers]
            head = [outlook.issued.isoformat(), _key(one)[2], outlook.source, one.kind, stamp]
            writer.writerow([*head, day.isoformat(), *cells])
    return text.getvalue()


def _read_file(path: Path, station_id: str) -> list[KeptOutlook]:
    where = f"{KEPT_OUTLOOKS}/{path.name}"
    try:
        rows = list(csv.reader(io.StringIO(path.read_bytes().decode("utf-8"), newline=""), strict=True))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise BadInput(Problem(where, f"cannot be read ({error}). Move the file away.")) from None
    if not rows or tuple(rows[0]) != COLUMNS:
        raise BadInput(Problem(f"{where} row 1", "not the columns of a kept outlook. Move the file away."))
    issues: dict[tuple[str, ...], list[tuple[date, list[float]]]] = {}
    problems = []
    for number, row in enumerate(rows[1:], start=2):
        try:
            issued, issued_at, source, kind, fetched_at, day = row[:6]
            values = [float(cell) if cell else np.nan for cell in row[6:]]
            date.fromisoformat(issued), datetime.fromisoformat(issued_at), datetime.fromisoformat(fetched_at)
            if len(values) != 5 or np.isinf(values).any() or kind not in ("forecast", "past"):
                raise ValueError
            key = (issued, issued_at, source, kind, fetched_at)
            issues.setdefault(key, []).append((date.fromisoformat(day), values))
        except ValueError:
            text = "not a row of a kept outlook. Remove the row; the outlook of that day is lost."
            problems.append(Problem(f"{where} row {number}", text))
    if problems:
        raise BadInput(problems)
    return [_kept(station_id, key, found) for key, found in issues.items()]


def _kept(station_id: str, key: tuple[str, ...], rows: Sequence[tuple[date, list[float]]]) -> KeptOutlook:
    issued, issued_at, source, kind, fetched_at = key
    table = np.array([values for _, values in rows], dtype=np.float64)
    outlook = Outlook(
        station_id=station_id,
        issued=date.fromisoformat(issued),
        days=tuple(day for day, _ in rows),
        tmin_c=table[:, 0],
        tmax_c=table[:, 1],
        source=source,
        tmean_c=table[:, 2],
        issued_at=datetime.fromisoformat(issued_at),
    )
    kind_of: Kind = "past" if kind == "past" else "forecast"
    return KeptOutlook(outlook, kind_of, datetime.fromisoformat(fetched_at), table[:, 3], table[:, 4])
