"""How far off neighbour filling is on a real group of stations: hide whole blocks of days, fill, compare.

    python tests/bench/neighbour_fill.py [FOLDER]

FOLDER holds `seasons/valley/weather` (four stations within a few km); ../shared/data by default. Prints one
line a station and length of gap: root mean square error [°C] of daily means and minima in the falls, and the
error that the program states. Blocks are placed by a fixed seed; the whole record, later years included,
serves to fit.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np

from forecaster.weather.files import read_station_records
from forecaster.weather.prepare import prepare_weather

AS_OF = date(2024, 5, 31)
GAP_DAYS = (1, 5, 20, 184)
GAPS = 60


def main(data: Path) -> None:
    records, _ = read_station_records(data / "seasons" / "valley" / "weather")
    whole = prepare_weather(records, as_of=AS_OF)
    print(f"{'station':8} {'gap':>4} {'mean rmse':>9} {'stated':>7} {'min rmse':>9} {'stated':>7}")
    for number, record in enumerate(records):
        days = record.rows.dates["date"]
        month = days.astype("datetime64[M]").astype(int) % 12 + 1
        for gap in GAP_DAYS:
            random = np.random.default_rng(number)
            starts = random.choice(
                np.nonzero(np.isin(month, [8, 9, 10, 11]))[0][: -gap - 400], GAPS, replace=False
            )
            hidden = np.zeros(days.size, dtype=bool)
            for start in starts[: max(6, GAPS // gap)]:
                hidden[start : start + gap] = True
            values = {name: np.where(hidden, np.nan, column) for name, column in record.rows.values.items()}
            changed = list(records)
            changed[number] = replace(record, rows=replace(record.rows, values=values))
            filled = prepare_weather(changed, as_of=AS_OF)
            at = (days[hidden & (days < np.datetime64(AS_OF))] - np.datetime64(whole.first_day)).astype(int)
            errors = [
                float(
                    np.sqrt(
                        np.mean((getattr(filled, name)[number, at] - getattr(whole, name)[number, at]) ** 2)
                    )
                )
                for name in ("tmean_c", "tmin_c")
            ]
            stated = filled.fill_error_c[number], filled.fill_error_min_c[number]
            print(
                f"{record.station.station_id:8} {gap:4d} {errors[0]:9.2f} {stated[0]:7.2f} "
                f"{errors[1]:9.2f} {stated[1]:7.2f}"
            )


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "../shared/data"))
