"""Fit and state of 500 ponds with 10 readings each over 30 years of air, beside one SARIMAX fit of one pond.

Run: python tests/bench/fit_speed.py [--quick]. Everything is invented and seeded; the ratio is what counts.
"""

from __future__ import annotations

import sys
import time
from datetime import date

import numpy as np
from statsmodels.tsa.statespace.sarimax import SARIMAX

from forecaster.season.readings import Reading
from forecaster.season.sites import Site
from forecaster.water.evidence import rows_of
from forecaster.water.lagged import SiteSeries, lag_terms, season_terms
from forecaster.water.physics import pond_prior
from forecaster.water.pooling import Pond, fit_route
from forecaster.water.state import water_path

FIRST, YEARS, FALL, DAYS = date(1995, 1, 1), 31, 2025, 90


def main(site_count: int) -> None:
    random = np.random.default_rng(1)
    day = np.arange(YEARS * 365)
    weather = np.zeros(len(day))
    for n in range(1, len(day)):
        weather[n] = 0.7 * weather[n - 1] + 3.0 * random.standard_normal()
    air = 10.0 + 13.0 * np.cos(2 * np.pi * (day - 200) / 365.25) + weather
    series = SiteSeries(FIRST, air, 43.0)
    ponds = []
    for n in range(site_count):
        site = Site(f"S{n}", "c", 43.0, -88.0, float(random.uniform(0.4, 1.5)))
        prior = pond_prior(site)
        terms, warm_up = season_terms(series, FALL, DAYS)
        true = (prior.mean @ lag_terms(terms, prior.lag_days))[warm_up:]
        readings = [
            Reading(
                site.site_id,
                date.fromordinal(date(FALL, 8, 1).toordinal() + int(d)),
                float(true[d] + random.normal()),
            )
            for d in np.sort(random.choice(DAYS, 10, replace=False))
        ]
        ponds.append(
            Pond(
                site.site_id, prior, series, rows_of(readings, site, fall=FALL, present=True, day_count=DAYS)
            )
        )
    start = time.perf_counter()
    fit = fit_route(ponds, fall=FALL)
    for pond in ponds:
        water_path(fit.ponds[pond.site_id], day_count=DAYS)
    ours = time.perf_counter() - start
    lagged = lag_terms(air[None, :], 3.0)[0]
    water = np.full(len(air), np.nan)
    seen = random.random(len(air)) < 0.25
    water[seen] = lagged[seen] + random.normal(size=int(seen.sum()))
    turn = 2 * np.pi * day / 365.25
    start = time.perf_counter()
    SARIMAX(
        water,
        exog=np.column_stack([np.ones(len(air)), lagged, np.cos(turn), np.sin(turn)]),
        order=(1, 0, 0),
        trend="n",
    ).fit(disp=False)
    one = time.perf_counter() - start
    print(f"{site_count} ponds, fit and state: {ours:.2f} s; one SARIMAX fit over {YEARS} years: {one:.2f} s")
    print(f"ratio {ours / one:.2f}")


if __name__ == "__main__":
    main(50 if "--quick" in sys.argv else 500)
