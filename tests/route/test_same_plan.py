"""The same input gives the same plan, whatever the machine does beside: one core or two, again and again."""

import json
import os
import subprocess
import sys

import pytest

from forecaster.demo import demo_folder
from forecaster.report.contract import route_json

SCRIPT = """
import sys
from pathlib import Path
from forecaster.demo import DEMO_AS_OF
from forecaster.pipeline import forecast_json
sys.stdout.write(forecast_json(Path(sys.argv[1]), DEMO_AS_OF))
"""


def run(threads: str, cores: set[int] | None) -> str:
    def pin() -> None:
        if cores:
            os.sched_setaffinity(0, cores)

    environment = {**os.environ, "OMP_NUM_THREADS": threads, "OPENBLAS_NUM_THREADS": threads}
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, str(demo_folder())],
        capture_output=True,
        text=True,
        check=True,
        env=environment,
        preexec_fn=pin,
    )
    return done.stdout


@pytest.mark.skipif(not hasattr(os, "sched_setaffinity"), reason="cores cannot be chosen on this system")
def test_one_core_and_all_cores_give_the_same_bytes(demo_forecast):
    one = run("1", {min(os.sched_getaffinity(0))})
    assert one == run("2", None) == route_json(demo_forecast)
    plan = json.loads(one)["plan"]
    assert 0.0 <= plan["gap"] <= 1.0
