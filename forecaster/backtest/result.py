"""What the replay of one season leaves behind: forecasts and scores, and how they are kept between runs."""

from __future__ import annotations

import io
import json
from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from datetime import date

import numpy as np
from numpy.typing import NDArray

from forecaster.backtest.truth import EVENTS
from forecaster.errors import Notice

Floats = NDArray[np.float64]
SHARES = np.array([0.1, 0.25, 0.5, 0.75, 0.9])


@dataclass(frozen=True, eq=False)
class SeasonResult:
    """Arrays of shape (case, site, event) unless said; days since 1 August, inf never, NaN none.

    `days`: the as-of dates, one a case. `observed`, `measured` (site, event): the truth and whether it was
    measured. `quantiles` (case, site, event, 5): see SHARES. `done`, `outlook` (case,): False where the
    morning was left out; position in OUTLOOK_KINDS. `scored`: the crossing was still to come and 15 earlier
    seasons stand beside it. `bias`: mean less observed; `error`: distance of the median; never is day 184.
    `plumbing_*`: as `freeze_*` (a hard freeze first), of a plumbing freeze; `last_fall_error`: miss of the
    day of the last fall in which it was still to come.
    `money`: mean loss a site by part of each policy, by name (see `policies`); `fixed_loss` (order, first
    day, part): the same for every fixed first day, unlimited crews first, orders named in `fixed_orders`.
    """

    season: int
    days: tuple[date, ...]
    site_ids: tuple[str, ...]
    observed: Floats
    measured: NDArray[np.bool_]
    quantiles: Floats
    p_not_reached: Floats
    freeze_chance: Floats
    freeze_happened: Floats
    freeze_reference: Floats
    plumbing_chance: Floats
    plumbing_happened: Floats
    plumbing_reference: Floats
    reference_count: Floats
    reference_crps: Floats
    reference_error: Floats
    last_fall_error: Floats
    scored: NDArray[np.bool_]
    crps: Floats
    bias: Floats
    error: Floats
    transform: Floats
    done: NDArray[np.bool_]
    outlook: NDArray[np.int64]
    notices: tuple[Notice, ...] = ()
    money: dict[str, list[float]] = field(default_factory=dict)
    fixed_orders: tuple[str, ...] = ()
    fixed_loss: Floats = field(default_factory=lambda: np.zeros((0, 184, 4)))


def empty_result(season: int, days: Sequence[date], site_ids: Sequence[str]) -> SeasonResult:
    """A result with nothing in it yet."""
    shape = (len(days), len(site_ids), len(EVENTS))

    def blank(*more: int) -> Floats:
        return np.full((*shape, *more), np.nan)

    return SeasonResult(
        season=season,
        days=tuple(days),
        site_ids=tuple(site_ids),
        observed=np.full(shape[1:], np.nan),
        measured=np.zeros(shape[1:], np.bool_),
        quantiles=blank(len(SHARES)),
        p_not_reached=blank(),
        freeze_chance=blank(),
        freeze_happened=blank(),
        freeze_reference=blank(),
        plumbing_chance=blank(),
        plumbing_happened=blank(),
        plumbing_reference=blank(),
        reference_count=blank(),
        reference_crps=blank(),
        reference_error=blank(),
        last_fall_error=blank(),
        scored=np.zeros(shape, np.bool_),
        crps=blank(),
        bias=blank(),
        error=blank(),
        transform=blank(),
        done=np.zeros(shape[0], np.bool_),
        outlook=np.zeros(shape[0], np.int64),
    )


def to_bytes(result: SeasonResult) -> bytes:
    """The result as a compressed archive of arrays; no code in it."""
    arrays, rest = {}, {}
    for entry in fields(result):
        value = getattr(result, entry.name)
        if isinstance(value, np.ndarray):
            arrays[entry.name] = value
        else:
            rest[entry.name] = value
    rest["days"] = [day.isoformat() for day in result.days]
    rest["notices"] = [[notice.where, notice.text] for notice in result.notices]
    out = io.BytesIO()
    np.savez_compressed(out, allow_pickle=False, rest=np.array(json.dumps(rest)), **arrays)
    return out.getvalue()


def from_bytes(content: bytes) -> SeasonResult:
    """The result that `to_bytes` wrote.

    Raises:
        ValueError: The content is no such archive.
    """
    try:
        with np.load(io.BytesIO(content), allow_pickle=False) as archive:
            arrays = {name: archive[name] for name in archive.files}
        rest = json.loads(str(arrays.pop("rest")))
        rest["days"] = tuple(date.fromisoformat(day) for day in rest["days"])
        rest["site_ids"] = tuple(rest["site_ids"])
        rest["notices"] = tuple(Notice(*pair) for pair in rest["notices"])
        rest["fixed_orders"] = tuple(rest["fixed_orders"])
        return SeasonResult(**rest, **arrays)
    except (OSError, EOFError, KeyError, TypeError, ValueError, json.JSONDecodeError) as error:
        raise ValueError(f"not the result of a season: {error}") from error
