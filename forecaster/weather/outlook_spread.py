"""Today's spread of a service's own ensemble, used for how wrong its outlook may be today.

Pure. Learned errors are those of an average day. Where the service also gives an ensemble, the spread of
today's is held against the usual spread of its earlier issues at the same lead; half of the difference in
variance is believed, and less while few issues are kept. Without a spread, or without earlier ones to compare
with, the learned errors stay exactly as they are. Limits: never the spread itself (ensembles are too narrow
near the surface), only its ratio to its own usual value; at most twice or half of that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from forecaster.weather.outlook_errors import PRIOR_OUTLOOKS, LeadErrors
from forecaster.weather.stations import Outlook

Floats = NDArray[np.float64]

BELIEVED = 0.5
"""Share of the ensemble's departure from its usual variance that is believed: its spread says something of
the error of the day, not all; our choice, on the careful side."""
LARGEST_RATIO = 2.0
"""A spread counts as at most twice and at least half the usual one."""


def today_errors(learned: LeadErrors, latest: Outlook, outlooks: Sequence[Outlook]) -> LeadErrors:
    """The errors of one station's latest outlook.

    Args:
        learned: Of an average day.
        latest: The outlook that is used.
        outlooks: Any outlooks; earlier issues of the same station and source tell the usual spread.
    Returns:
        `learned` itself where nothing can be said.
    """
    leads = learned.sd_min_c.size
    before = [
        o
        for o in outlooks
        if o.station_id == latest.station_id and o.source == latest.source and o.issued < latest.issued
    ]
    low, mean = (
        spread_factors(_by_lead([latest], leads, kind)[0], _by_lead(before, leads, kind)) for kind in (0, 1)
    )
    if (low == 1.0).all() and (mean == 1.0).all():
        return learned
    return replace(learned, sd_min_c=learned.sd_min_c * low, sd_mean_c=learned.sd_mean_c * mean)


def spread_factors(today_c: Floats, earlier_c: Floats) -> Floats:
    """By how much the errors of each lead are wider today than on an average day.

    Args:
        today_c: Spread of the ensemble by lead [°C], shape (lead,); NaN where there is none.
        earlier_c: The same of earlier issues, shape (issue, lead).
    Returns:
        Shape (lead,), 1 where either is missing.

    Example:
        >>> spread_factors(np.array([2.0]), np.ones((30, 1))).round(4)  # 1 + 30 / 60 x 0.5 x (2² - 1)
        array([1.3229])
    """
    known = np.isfinite(earlier_c)
    issues = known.sum(axis=0)
    usual_square = np.where(known, earlier_c, 0.0) ** 2
    usual_square = usual_square.sum(axis=0) / np.maximum(issues, 1)
    tells = np.isfinite(today_c) & (issues > 0) & (usual_square > 0.0)
    ratio = np.divide(today_c**2, usual_square, out=np.ones(today_c.size), where=tells)
    ratio = np.clip(ratio, LARGEST_RATIO**-2, LARGEST_RATIO**2)
    share = BELIEVED * issues / (issues + PRIOR_OUTLOOKS)
    return np.where(tells, np.sqrt(1.0 + share * (ratio - 1.0)), 1.0)


def _by_lead(outlooks: Sequence[Outlook], leads: int, kind: int) -> Floats:
    """Spread of minima (0) or means (1) by issue and lead [°C], shape (issue, lead)."""
    table = np.full((len(outlooks), leads), np.nan)
    for row, outlook in enumerate(outlooks):
        spread = (outlook.spread_min_c, outlook.spread_mean_c)[kind]
        if spread is None:
            continue
        for day, value in zip(outlook.days, spread, strict=True):
            lead = (day - outlook.issued).days
            if 0 <= lead < leads:
                table[row, lead] = value
    return table
