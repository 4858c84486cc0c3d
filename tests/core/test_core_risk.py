"""Counts over members, their spread, and who comes first."""

from __future__ import annotations

import numpy as np
import pytest

from forecaster.events import SiteEvents
from forecaster.risk import Urgency, fall_quantile, freeze_first, rank_sites, sampling_sd, settled_chance

NEVER = np.inf

# --- counts, by hand


def test_freeze_first_member_by_member() -> None:
    freeze = np.array([80.0, 90.0, 90.0, 95.0, 80.0, NEVER])
    crossing = np.array([85.0, 90.0, 89.0, NEVER, NEVER, NEVER])
    #   before it, on its day, after it, water never settles (twice), neither ever comes
    assert freeze_first(freeze, crossing).tolist() == [True, False, False, True, True, False]


def test_a_crossing_before_the_as_of_date_is_no_risk() -> None:
    # Freezes count from the as-of date (day 75) on, so a member settled on day 70 has none before.
    assert not freeze_first(np.array([75.0]), np.array([70.0])).any()


def test_the_joint_count_is_not_the_product_of_chances() -> None:
    # Cold falls bring both early: freeze on day 60 or 100, settled on day 50 or 90 of the same falls.
    freeze, crossing = np.array([60.0, 100.0]), np.array([50.0, 90.0])
    assert freeze_first(freeze, crossing).mean() == 0.0
    assert freeze_first(freeze, crossing[::-1]).mean() == 0.5


# --- quantiles


def test_never_reached_stays_in_the_quantiles() -> None:
    days = np.array([10.0, 20.0, 30.0, NEVER, NEVER])
    assert [fall_quantile(days, q) for q in (0.1, 0.5, 0.6, 0.61, 0.9)] == [10.0, 30.0, 30.0, NEVER, NEVER]
    assert fall_quantile(np.array([NEVER, 5.0]), 0.5) == 5.0  # of two, the first half
    assert fall_quantile(np.array([NEVER]), 0.1) == NEVER


def test_quantiles_are_members_and_in_order() -> None:
    random = np.random.default_rng(1)
    days = random.integers(60, 120, 200).astype(np.float32)
    days[random.random(200) < 0.2] = NEVER
    found = [fall_quantile(days, share) for share in (0.1, 0.5, 0.9)]
    assert found == sorted(found)
    assert set(found) <= set(days.tolist())
    assert (days <= found[1]).mean() >= 0.5


# --- sampling error


def test_sampling_error_by_hand() -> None:
    # Means of three falls 1, 0, 0.5: standard deviation 0.5, over the root of three falls.
    hits = np.array([1, 1, 0, 0, 1, 0])
    falls = np.array([2001, 2001, 2002, 2002, 2003, 2003])
    assert sampling_sd(hits, falls) == pytest.approx(0.5 / np.sqrt(3))


def test_more_members_of_the_same_falls_are_no_more_evidence() -> None:
    hits, falls = np.array([1, 0, 1, 1]), np.array([2001, 2002, 2003, 2004])
    once = sampling_sd(hits, falls)
    assert sampling_sd(np.tile(hits, 50), np.tile(falls, 50)) == pytest.approx(once)


def test_one_fall_says_nothing_of_the_spread() -> None:
    assert sampling_sd(np.array([1, 0, 1]), np.array([2001, 2001, 2001])) == np.inf


# --- ranking

FALLS = np.repeat(np.arange(2000, 2020), 5)


def site(name: str, share: float, group: int = 2, loss: float = 0.0) -> Urgency:
    """A site with a hit in the first `share` of the falls."""
    return Urgency(name, group, 2000 + round(share * 20) > FALLS, loss)


def test_ready_sites_come_above_waiting_ones_whatever_their_chance() -> None:
    sites = [site("w", 1.0, group=2), site("h", 0.5, group=1), site("r", 0.0, group=0)]
    assert rank_sites(sites, FALLS) == ["r", "h", "w"]


def test_by_chance_where_it_differs_by_more_than_two_sampling_errors() -> None:
    # 0.9 against 0.3: twelve falls of twenty differ, sd of the difference 0.503 / sqrt(20) = 0.112.
    assert rank_sites([site("a", 0.3, loss=99.0), site("b", 0.9)], FALLS) == ["b", "a"]


def test_by_loss_of_waiting_where_it_does_not() -> None:
    # 0.50 against 0.45: one fall of twenty, difference 0.05, sampling error 0.05.
    assert rank_sites([site("a", 0.5, loss=3.0), site("b", 0.45, loss=4.0)], FALLS) == ["b", "a"]
    assert rank_sites([site("b", 0.45, loss=3.0), site("a", 0.5, loss=3.0)], FALLS) == ["a", "b"]


def test_equal_sites_by_name() -> None:
    assert rank_sites([site("c", 0.5), site("a", 0.5), site("b", 0.5)], FALLS) == ["a", "b", "c"]
    assert rank_sites([site("b", 0.0, loss=-1.0), site("a", 0.0, loss=-2.0)], FALLS) == ["b", "a"]


def test_every_site_once_and_in_any_order_of_input() -> None:
    random = np.random.default_rng(3)
    sites = [
        site(f"S{n:02}", float(random.random()), group=int(random.integers(3)), loss=float(random.normal()))
        for n in range(40)
    ]
    order = rank_sites(sites, FALLS)
    assert sorted(order) == sorted(s.site_id for s in sites)
    mixed = [sites[n] for n in random.permutation(40)]
    assert rank_sites(mixed, FALLS) == order
    groups = {s.site_id: s.group for s in sites}
    assert [groups[name] for name in order] == sorted(groups.values())
    assert rank_sites([], FALLS) == []


def test_chance_that_the_water_has_settled() -> None:
    def events(sustained: np.ndarray | None) -> SiteEvents:
        return SiteEvents(None, sustained, None, None, None, None, None)

    assert settled_chance(events(np.array([74.0, 75.0, NEVER, 10.0], np.float32)), 75) == 0.5
    assert settled_chance(events(None), 75) is None
