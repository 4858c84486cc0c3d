"""How much of the coming days' weather the last days explain: mean and minimum together, or each alone.

    python tests/bench/day_links.py FOLDER ...

Every station of every season folder. Share of the variance of daily anomalies (less the usual course of the
year and a straight trend) that is explained on the days of September to November, learnt in odd years and
tried in even ones, and the other way round.
"""

from __future__ import annotations

import argparse
from datetime import date
from pathlib import Path

import numpy as np

from forecaster.anomalies import carried_on
from forecaster.backtest.inputs import Asked, read_backtest
from forecaster.backtest.station_air import known_weather
from forecaster.carrying import LINK_FIRST_DAY, LINK_LAST_DAY, carried_together, day_links
from forecaster.weather.fall_blocks import WIDEST_MARGIN_DAYS, fall_block, usable_falls

LEADS = (1, 2, 3, 5, 10)
KNOWN_DAYS = 60


def anomalies(values: np.ndarray, years: np.ndarray) -> np.ndarray:
    """Blocks (fall, day) less three harmonics of the year and a trend fitted over all days."""
    day = np.arange(values.shape[1]) - WIDEST_MARGIN_DAYS
    turn = 2 * np.pi * day / 365.25
    shape = [np.ones_like(turn), *(f(k * turn) for k in (1, 2, 3) for f in (np.cos, np.sin))]
    columns = [np.broadcast_to(column, values.shape) for column in shape]
    columns.append(np.broadcast_to((years - years.mean())[:, None], values.shape))
    basis = np.stack([column.ravel() for column in columns], axis=1)
    known = np.isfinite(values.ravel())
    fitted = basis @ np.linalg.lstsq(basis[known], values.ravel()[known], rcond=None)[0]
    return values - fitted.reshape(values.shape)


def explained(both: list[np.ndarray], years: np.ndarray) -> dict[str, np.ndarray]:
    """Share of variance explained, (variable, lead): alone, together."""
    first, last = WIDEST_MARGIN_DAYS + LINK_FIRST_DAY, WIDEST_MARGIN_DAYS + LINK_LAST_DAY + 1
    miss = {"alone": np.zeros((len(both), len(LEADS))), "together": np.zeros((len(both), len(LEADS)))}
    whole = np.zeros((len(both), len(LEADS)))
    leads = np.array(LEADS)
    for odd in (0, 1):
        learn, tried = years % 2 == odd, years % 2 != odd
        links = day_links(np.stack([part[learn, first:last] for part in both], axis=1))
        for end in range(first, last):
            if end < KNOWN_DAYS or end + max(LEADS) > both[0].shape[1]:
                continue
            known = np.arange(end - KNOWN_DAYS, end)
            gaps = [part[tried][:, known] for part in both]
            came = [part[tried][:, end - 1 + leads] for part in both]
            ahead = np.arange(end, end + max(LEADS))
            linked = [found[:, leads - 1] for found in carried_together(gaps, links, known, ahead)]
            alone = [carried_on(gap, known, end - 1 + leads) for gap in gaps]
            for n, truth in enumerate(came):
                whole[n] += (truth**2).sum(axis=0)
                miss["alone"][n] += ((truth - alone[n]) ** 2).sum(axis=0)
                miss["together"][n] += ((truth - linked[n]) ** 2).sum(axis=0)
    return {name: 1.0 - lost / whole for name, lost in miss.items()}


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folders", nargs="+", type=Path)
    print(f"days ahead: {LEADS}")
    for folder in parser.parse_args().folders:
        given = read_backtest(folder, Asked())
        last = given.settings.season.year
        weather = known_weather(given, date(last, 8, 1))
        years = np.array(usable_falls(weather, last, margin_days=WIDEST_MARGIN_DAYS))
        blocks = [fall_block(weather, year, margin_days=WIDEST_MARGIN_DAYS) for year in years]
        for at, station in enumerate(weather.stations):
            mean = np.stack([block.tmean_c[at] for block in blocks])
            low = np.stack([block.tmin_c[at] for block in blocks])
            names = ["mean", "minimum"] if np.isfinite(low).all() else ["mean"]
            both = [anomalies(values, years) for values in (mean, low)[: len(names)]]
            for way, share in explained(both, years).items():
                for name, row in zip(names, share, strict=True):
                    figures = " ".join(f"{value:6.3f}" for value in row)
                    print(f"{station.station_id:8} {len(years)} falls  {name:8} {way:9} {figures}")


if __name__ == "__main__":
    main()
