"""The list of stations: what is accepted and what is said about the rest."""

import pytest

from forecaster.errors import BadInput
from forecaster.weather.station_sheet import read_stations
from forecaster.weather.stations import Station

HEADER = "station_id,name,latitude,longitude,elevation_m\n"


def refused(folder):
    with pytest.raises(BadInput) as raised:
        read_stations(folder.path)
    return [str(problem) for problem in raised.value.problems]


def test_read(folder):
    folder.stations(
        "\ufeffstation_id,name,latitude,longitude,elevation_ft\nA-1,Alder,43.0,-88.0,1000\nB.2,,43.1,-88,0\n"
    )
    assert read_stations(folder.path) == (
        Station("A-1", "Alder", 43.0, -88.0, pytest.approx(304.8)),
        Station("B.2", "B.2", 43.1, -88.0, 0.0),
    )


def test_every_fault_at_once(folder):
    folder.stations(
        HEADER + "A,Alder,43.0,-88.0,200\n"
        "A,Again,43.0,-88.1,200\n"
        "B,Birch,-88.0,43.0,200\n"
        "C/1,Cedar,43,-88.2,x\n"
        "D,Dogwood,43\n"
        "E,Elm,,-88.2,100\n"
        'F,Fir,"43,1",-88.2,100\n'
    )
    sheet = "weather/stations.csv row"
    assert refused(folder) == [
        f"{sheet} 6: only 3 cells, but the header names 5 columns. Add the missing separators.",
        f'{sheet} 3, station_id: "A" is in row 2 too. Give each station its own station_id.',
        f'{sheet} 4, latitude: "-88.0" is not a number of degrees (-60 to 75). '
        "Are latitude and longitude swapped?",
        f'{sheet} 5, station_id: "C/1" cannot name a file. Use letters, digits, '
        "hyphen, underscore and point.",
        f'{sheet} 5, elevation_m: "x" is not a number of metres (-450 to 6000).',
        f"{sheet} 7, latitude: empty, not a number of degrees (-60 to 75).",
        f'{sheet} 8, latitude: "43,1" is not a number of degrees (-60 to 75). Write 43.1.',
    ]


def test_coordinates_swapped_where_the_range_shows_nothing(folder):
    folder.stations(
        HEADER + "A,Aspen,52.1,13.2,40\nB,Birch,52.3,13.4,40\nC,Cedar,13.3,52.2,40\nD,Elm,52.2,-13.3,40\n"
    )
    swapped, mirrored = refused(folder)
    assert swapped.startswith("weather/stations.csv row 4, latitude, longitude: 13.3, 52.2 is ")
    assert swapped.endswith(" km from the other stations: are latitude and longitude swapped?")
    assert mirrored.startswith("weather/stations.csv row 5, latitude, longitude: 52.2, -13.3 is ")
    assert mirrored.endswith("is the minus sign of the longitude missing or too many? West is negative.")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "weather/stations.csv: the file is empty"),
        (HEADER, "weather/stations.csv: no station below the names of the columns. Add one."),
        (
            "station,name,latitude,longitude,elevation_m\nA,a,43,-88,1\n",
            "weather/stations.csv row 1: no column station_id",
        ),
    ],
)
def test_no_stations(folder, text, said):
    folder.stations(text)
    (problem,) = refused(folder)
    assert problem.startswith(said)


def test_no_sheet(folder):
    (folder.path / "stations.csv").unlink()
    assert refused(folder)[0].startswith("weather/stations.csv: no such file")
