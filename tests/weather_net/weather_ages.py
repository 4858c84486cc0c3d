"""Copies made older than they are, without touching any clock."""

from __future__ import annotations

from datetime import timedelta

from forecaster.weather.http import Fetcher


def make_older(fetcher: Fetcher, days: float) -> None:
    """Let every copy be so many days older than it is."""
    cache = fetcher._session.cache
    for key in list(cache.responses.keys()):
        copy = cache.responses[key]
        copy.created_at -= timedelta(days=days)
        if copy.expires is not None:
            copy.expires -= timedelta(days=days)
        cache.responses[key] = copy
