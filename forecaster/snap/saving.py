"""The rule of the order: what a visit today is expected to save, for each hour of work at the site.

A visit today is weighed against one after the `soon` nights. The money is that of the settings:

    pipes        plumbing_freeze x exposure x running share x chance of the first night at the limit
    leak         the same x early_look_share, where it has been reached already: a look finds the crack
    fish         fish_loss x chance of long ice cover (pond with fish, no running water): a hole is opened
    ice          ice x chance that ice comes for the first time; a closing only
    hard_freeze  hard_freeze x chance of the season's first one
    warm_day     - warm_day x days of these on which the water is still above the start threshold

A limit reached before counts no more as to come: a pipe that has been through it has cracked or held. Dawn
has passed when a crew comes, so this morning's frost is not to be saved.
"""

from __future__ import annotations

from forecaster.season.settings import Costs, SnapSettings
from forecaster.snap.records import PARTS, SiteState

NOTHING = dict.fromkeys(PARTS, 0.0)


def saved_by_closing(
    state: SiteState, costs: Costs, snap: SnapSettings, *, protected: bool = False, checked: bool = False
) -> dict[str, float]:
    """What a full closing today saves [$], by PARTS.

    Args:
        state: The site's chances; unknown ones count nothing.
        costs, snap: Of the settings.
        protected: Lines are drained already: frost does nothing more to them.
        checked: Somebody has looked since the snap began: no leak is left to be found.
    """
    site, parts = state.site, dict(NOTHING)
    at_stake = costs.plumbing_freeze * site.plumbing_exposure * (snap.running_share if state.running else 1.0)
    if not protected:
        parts["pipes"] = at_stake * (state.p_plumbing_new or 0.0)
        parts["hard_freeze"] = costs.hard_freeze * (state.p_hard_new or 0.0)
        parts["warm_day"] = -costs.warm_day * state.warm_days
    if not checked:
        parts["leak"] = at_stake * snap.early_look_share * (state.p_plumbing_so_far or 0.0)
    if site.fish and site.has_pond and not state.running:
        parts["fish"] = snap.fish_loss * (state.p_covered_next or 0.0)
    parts["ice"] = costs.ice * (state.p_ice_new or 0.0)
    return parts


def saved_by_quick_visit(
    state: SiteState, costs: Costs, snap: SnapSettings, *, protected: bool = False, checked: bool = False
) -> dict[str, float]:
    """What a quick visit today saves [$], by PARTS: lines safe, a hole open; ice waits for the closing."""
    parts = saved_by_closing(state, costs, snap, protected=protected, checked=checked)
    return dict(NOTHING) if protected else parts | {"ice": 0.0}


def closing_hours(state: SiteState, ice_hours_factor: float) -> float:
    """Work of a full closing today [h]: longer by the factor where there is ice, by its chance."""
    icy = state.ice.p_ice if state.ice is not None else 0.0
    return state.site.hours_on_site * (1.0 + (ice_hours_factor - 1.0) * icy)


def hours_left(state: SiteState, ice_hours_factor: float, quick_hours: float) -> float:
    """Work of the closing that remains after a quick visit [h], a quarter of an hour at least."""
    return max(0.25, closing_hours(state, ice_hours_factor) - quick_hours)
