"""Routes made by hand, once a session."""

from __future__ import annotations

import pytest
from invented_route import route_forecast

from forecaster.forecast import RouteForecast


@pytest.fixture(scope="session")
def forecast() -> RouteForecast:
    return route_forecast()


@pytest.fixture(scope="session")
def big_forecast() -> RouteForecast:
    return route_forecast(160)
