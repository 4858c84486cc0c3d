"""How likely the cold comes first, and who is most urgent. Joint counts over members, with their spread."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forecaster.events import SiteEvents

READY_CHANCE = 0.5
"""A site is ready once its water has settled with at least this chance."""


def freeze_first(freeze: np.ndarray, crossing: np.ndarray) -> NDArray[np.bool_]:
    """Members in which the freeze comes before the crossing, (m,).

    Freezes count from the as-of date on; never-reached crossings (inf) are later than any freeze; a freeze
    on the day of the crossing does not count.

    >>> freeze_first(np.array([5.0, 9.0, np.inf]), np.array([np.inf, 9.0, np.inf]))
    array([ True, False, False])
    """
    return np.asarray(freeze < crossing)


def fall_quantile(days: np.ndarray, share: float) -> float:
    """Quantile of event days with never-reached ones counted as latest (inverted distribution function).

    >>> fall_quantile(np.array([10.0, 20.0, np.inf, np.inf]), 0.5)
    20.0
    >>> fall_quantile(np.array([1.0, np.inf]), 0.9)
    inf
    """
    return float(np.quantile(days, share, method="inverted_cdf"))


def sampling_sd(hits: np.ndarray, source_fall: NDArray[np.int64]) -> float:
    """Standard error of the mean of `hits` (m,), with each source season as one case.

    Members of one season share its weather: many of them are still one season.
    """
    seasons, position = np.unique(source_fall, return_inverse=True)
    if len(seasons) < 2:
        return float("inf")
    weight = np.bincount(position)
    mean = np.bincount(position, weights=hits) / weight
    return float(mean.std(ddof=1) / np.sqrt(len(seasons)))


@dataclass(frozen=True, eq=False)
class Urgency:
    """What the ranking needs of one site: `hits` (m,) of the risk that counts for its group."""

    site_id: str
    group: int  # 0 ready, 1 no water forecast, 2 waiting
    hits: np.ndarray
    loss_of_waiting: float


def rank_sites(sites: Sequence[Urgency], source_fall: NDArray[np.int64]) -> list[str]:
    """Site ids, most urgent first.

    Within a group by chance; sites whose chance differs from the first of their run by no more than two
    sampling errors of the difference are ordered by what a week's waiting costs, then by site id.
    """
    order: list[str] = []
    for group in sorted({site.group for site in sites}):
        rest = sorted(
            (site for site in sites if site.group == group), key=lambda s: (-float(s.hits.mean()), s.site_id)
        )
        while rest:
            lead = rest[0]
            run = [site for site in rest if _alike(lead, site, source_fall)]
            order += [s.site_id for s in sorted(run, key=lambda s: (-s.loss_of_waiting, s.site_id))]
            chosen = {site.site_id for site in run}
            rest = [site for site in rest if site.site_id not in chosen]
    return order


def _alike(lead: Urgency, other: Urgency, source_fall: NDArray[np.int64]) -> bool:
    difference = lead.hits.astype(float) - other.hits.astype(float)
    return abs(float(difference.mean())) <= 2.0 * sampling_sd(difference, source_fall)


def settled_chance(events: SiteEvents, as_of_day: int) -> float | None:
    """Chance that the water has settled before the as-of date; None without a water forecast."""
    return None if events.sustained is None else float((events.sustained < as_of_day).mean())
