"""The invented season of the core tests with kit at its ponds, and what tests of the winter share."""

from __future__ import annotations

from datetime import date, timedelta
from functools import lru_cache
from pathlib import Path
from tempfile import mkdtemp

from invented_season import AS_OF, SeasonFolder, write_season
from typer.testing import CliRunner

from forecaster.build import forecast_route
from forecaster.cli import app
from forecaster.errors import ForecasterError
from forecaster.forecast import RouteForecast
from forecaster.known import Known
from forecaster.pipeline import load_known
from forecaster.season.sites import Site
from forecaster.visit.kit import Kit, kits_of
from forecaster.visit.winter_run import Winter, run_winter
from forecaster.visit.winter_watch import WinterDay

SITES = """site_id,customer,latitude,longitude,mean_depth_in,kind,heated,winter,fish,booked_date,told_date,\
address,pump_watts,uv,deicer_watts,aerator_watts,check_valve,net,store,pump_store,email,phone
A-12,Alder (Fog garden),43.02,-88.02,12,pond,no,close,yes,,,1 Invented Row,180,55 W,300,60,yes,yes,\
Shed 2,wet,alder@example.org,555 0100
B-36,Birch,43.02,-88.02,36,pond,no,close,yes,2025-11-07,,2 Invented Row,90,,1500,,,,,,,
C-72,Cedar,43.02,-88.02,72,pond,no,close,no,,2025-12-05,3 Invented Row,420,,yes,35,,,,,,
D-fall,Dogwood,43.05,-88.05,,fall without pond,no,close,no,,,4 Invented Row,120,,,,,,,,,
E-hot,Elder,43.05,-88.05,24,pond,yes,close,yes,,,5 Invented Row,,,250,25,,,,,,
F-runs,Fir,43.05,-88.05,36,pond,no,runs,yes,,,6 Invented Row,60,,300,30,,,,,,
"""

CLOSED = {"A-12": date(2025, 10, 18)}


def write_winter_season(path: Path) -> SeasonFolder:
    """The folder with kit, written to `path`."""
    folder = write_season(path)
    folder.write("sites.csv", SITES)
    return folder


@lru_cache(maxsize=1)
def winter_folder() -> SeasonFolder:
    """One folder for all tests that only read it."""
    return write_winter_season(Path(mkdtemp(prefix="winter-season-")) / "season")


@lru_cache(maxsize=1)
def winter_known() -> Known:
    """What is known there on the as-of date."""
    return load_known(winter_folder().path, AS_OF)


@lru_cache(maxsize=1)
def winter_kits() -> dict[str, Kit]:
    return kits_of(winter_known().sites)


@lru_cache(maxsize=2)
def winter_of(to_march: bool) -> Winter:
    """The winter of its ponds."""
    return run_winter(winter_known(), winter_kits(), {}, to_march=to_march)


@lru_cache(maxsize=1)
def winter_forecast() -> RouteForecast:
    return forecast_route(winter_known())


DAY = date(2025, 11, 1)
NEVER = WinterDay(None, None, None, 1.0, 0.0)


def coming(days: int, *, come: float = 0.0) -> WinterDay:
    """A day that 1 fall in 10 has by `DAY` and so many days."""
    first = DAY + timedelta(days=days)
    return WinterDay(first, first + timedelta(days=5), first + timedelta(days=15), 0.0, come)


def a_site(site_id: str = "S-1", **facts: object) -> Site:
    """A pond made up for one test."""
    usual: dict[str, object] = {
        "customer": "Sallow",
        "latitude": 43.0,
        "longitude": -88.0,
        "mean_depth_m": 0.6,
    }
    return Site(site_id=site_id, **(usual | facts))  # type: ignore[arg-type]


def run(*arguments: object) -> tuple[int, str, str]:
    """A command as the user types it, in this process: exit code, output, errors."""
    done = CliRunner().invoke(app, [str(argument) for argument in arguments])
    if isinstance(done.exception, ForecasterError):
        return done.exception.exit_code, done.stdout, str(done.exception)
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done.exit_code, done.stdout, done.stderr
