"""What would be set aside because all neighbours contradict it, on real stations, for a look by eye.

    python tests/bench/neighbour_aside.py [FOLDER]

FOLDER holds `seasons/valley/weather`; ../shared/data by default, skipped if absent. Prints each value with
what the other stations had that day, and how many nights of frost there are in the falls and how many of
them would go.
"""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path

import numpy as np

from forecaster.units import f_to_c
from forecaster.weather.files import read_station_records
from forecaster.weather.prepare import prepare_weather

AS_OF = date(2024, 5, 31)
HARD_FREEZE_C = f_to_c(28)


def main(data: Path) -> None:
    if not (data / "seasons" / "valley").is_dir():
        return
    records, _ = read_station_records(data / "seasons" / "valley" / "weather")
    weather = prepare_weather(records, as_of=AS_OF)
    first = np.datetime64(weather.first_day)
    raw = np.full((2, len(records), weather.day_count), np.nan)
    for row, record in enumerate(records):
        days = record.rows.dates["date"]
        keep = days < np.datetime64(AS_OF)
        for kind, name in enumerate(("tmin", "tmax")):
            raw[kind, row, (days[keep] - first).astype(int)] = record.rows.values[name][keep]
    month = (first + np.arange(weather.day_count)).astype("datetime64[M]").astype(int) % 12 + 1
    for kind, (name, now) in enumerate((("minimum", weather.tmin_c), ("maximum", weather.tmax_c))):
        for row, record in enumerate(records):
            gone = np.isfinite(raw[kind, row]) & (now[row] != raw[kind, row])
            for day in np.nonzero(gone)[0]:
                others = np.delete(raw[kind, :, day], row).tolist()
                print(
                    f"{record.station.station_id:4} {first + day} {name} {raw[kind, row, day]:6.1f} {others}"
                )
            if kind == 0:
                cold = np.isin(month, [9, 10, 11]) & (raw[0, row] <= HARD_FREEZE_C)
                print(f"{record.station.station_id:4} hard freezes {cold.sum()}, gone {(cold & gone).sum()}")


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "../shared/data"))
