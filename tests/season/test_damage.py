"""Files damaged at random are read or refused with problems; nothing else ever comes out."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import openpyxl
import pytest

from forecaster.errors import BadInput
from forecaster.season.readings_file import read_logger, read_readings
from forecaster.season.settings import read_settings
from forecaster.season.sheet import read_sites

SITES = "site_id,customer,latitude,longitude,mean_depth_in,booked_date,weekdays\n" + "".join(
    f'S{i},"Fern {i}, rear",43.0{i},-88.0{i},{20 + i},2025-10-1{i},mon-sun\n' for i in range(9)
)
READINGS = "site_id,taken,water_f\n" + "".join(f"S{i},2025-10-0{i + 1} 15:30,5{i}\n" for i in range(9))
SETTINGS = (
    '[season]\nyear = 2025\ntimezone = "America/Chicago"\n[thresholds]\nstart_f = 50\n[costs]\nice = 9\n'
)
LOGGER = '"Plot"\n"#","Date Time, GMT-05:00","Temp, °F"\n' + "".join(
    f"{i},10/{1 + i // 12:02}/25 {1 + i % 12:02}:00:00 AM,50.{i % 9}\n" for i in range(40)
)


def workbook() -> bytes:
    book = openpyxl.Workbook()
    for line in SITES.splitlines():
        book.active.append(line.replace('"', "").replace(", rear", "").split(","))
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def damaged(raw: bytes, rng: np.random.Generator) -> bytes:
    """A few bytes changed, dropped or added."""
    content = bytearray(raw)
    for _ in range(rng.integers(1, 6)):
        at, junk = int(rng.integers(len(content))), rng.choice(list(b'",;\n\t-09aZ\xff\x00=[]#'), 3).tolist()
        end = at + int(rng.integers(0, 8))
        content[at:end] = bytes(junk[: int(rng.integers(0, 4))])
    return bytes(content)


def damaged_part(raw: bytes, rng: np.random.Generator) -> bytes:
    """A workbook with one of its parts damaged."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(raw)) as source, zipfile.ZipFile(out, "w") as target:
        names = source.namelist()
        victim = names[int(rng.integers(len(names)))]
        for name in names:
            part = source.read(name)
            target.writestr(name, damaged(part, rng) if name == victim else part)
    return out.getvalue()


@pytest.mark.parametrize(
    ("name", "raw", "call", "damage"),
    [
        ("sites.csv", SITES.encode(), lambda path: read_sites(path.parent, crew_names=[]), damaged),
        ("sites.xlsx", workbook(), lambda path: read_sites(path.parent, crew_names=[]), damaged_part),
        (
            "readings.csv",
            READINGS.encode(),
            lambda path: read_readings(path.parent, site_ids=["S1"]),
            damaged,
        ),
        ("season.toml", SETTINGS.encode(), read_settings, damaged),
        ("S1.csv", LOGGER.encode(), lambda path: read_logger(path, site_id="S1", timezone="UTC"), damaged),
    ],
    ids=["sites", "workbook", "readings", "settings", "logger"],
)
def test_damage(tmp_path: Path, name: str, raw: bytes, call: Callable[[Path], object], damage):
    rng, refused = np.random.default_rng(11), 0
    for _ in range(60):
        path = tmp_path / name
        path.write_bytes(damage(raw, rng))
        try:
            call(path)
        except BadInput as error:
            refused += 1
            assert all(problem.where and problem.text for problem in error.problems)  # noqa: PT017
    assert refused > 10
