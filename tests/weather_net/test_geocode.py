"""Addresses to places: the batch service on a local server, doubtful matches, and what the sheet takes."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from weather_server import Answer, Asked, WeatherServer

from forecaster.errors import BadInput
from forecaster.season.sheet import read_sites
from forecaster.weather.geocode import confirm, look_up, split_address
from forecaster.weather.http import Fetcher, FetchFailed

SHEET = (
    "site_id,customer,address,latitude,longitude,mean_depth_in\n"
    'L-01,Invented One,"12 Mill Lane, Ambervane, WI 53000",,,24\n'
    'L-02,Invented Two,"14 Mill Lane, Ambervane, WI 53000",,,24\n'
    'L-03,Invented Three,"9 Tansy Street, Ambervane, WI",,,24\n'
    'L-04,Invented Four,"1 Long Road, Ambervane, WI 53000",,,24\n'
    "L-05,Invented Five,behind the church,,,24\n"
    'L-06,Invented Six,"8 Far Street, Elsewhere, WI 53999",,,24\n'
    'L-07,Invented Seven,"2 Placed Street, Ambervane, WI 53000",43.05,-89.4,24\n'
)
PLACES = {
    "12 Mill Lane": ("Match", "Exact", "12 MILL LN, AMBERVANE, WI, 53000", "-89.4123,43.0511"),
    "14 Mill Lane": ("Match", "Non_Exact", "14 MILL RD, AMBERVANE, WI, 53000", "-89.4133,43.0521"),
    "9 Tansy Street": ("Tie",),
    "1 Long Road": ("No_Match",),
    "8 Far Street": ("Match", "Exact", "8 FAR ST, ELSEWHERE, WI, 53999", "-97.0,30.0"),
}


def bureau(asked: Asked) -> Answer:
    """Answers a batch as the Census Bureau's service does."""
    parts = re.findall(rb"Content-Disposition.*?\r\n\r\n(.*?)\r\n--", asked.body, flags=re.S)
    table = next(part for part in parts if b"," in part).decode()
    out = io.StringIO()
    writer = csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\n")
    for number, street, city, state, zip_code in csv.reader(io.StringIO(table)):
        found = PLACES[street]
        row = [number, f"{street}, {city}, {state}, {zip_code}", *found]
        writer.writerow([*row, "1234", "L"] if len(found) > 1 else row)
    return Answer(out.getvalue().encode(), kind="text/plain")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "sites.csv").write_text(SHEET)
    return tmp_path


@pytest.fixture
def found(folder: Path, server: WeatherServer, make_fetcher: Callable[..., Fetcher]) -> Callable[[], dict]:
    server.routes["/batch"] = bureau

    def ask() -> dict:
        return {place.site_id: place for place in look_up(folder, make_fetcher(), f"{server.url}/batch")}

    return ask


def test_exact_matches_are_proposed_and_others_are_questions(found: Callable[[], dict], folder: Path) -> None:
    places = found()
    assert sorted(places) == ["L-01", "L-02", "L-03", "L-04", "L-05", "L-06"]  # L-07 has its place
    assert (places["L-01"].latitude, places["L-01"].longitude) == (43.0511, -89.4123)
    assert places["L-01"].question == ""
    assert not places["L-01"].confirmed
    assert places["L-02"].question == "only a similar address is known. Is this the one?"
    assert places["L-03"].question.startswith("several places fit")
    assert places["L-04"].question.startswith("no such address is known")
    assert places["L-05"].question.startswith("street, city and state cannot be told apart")
    assert "km from the middle of the sites" in places["L-06"].question
    assert (folder / "sites.csv").read_text() == SHEET  # the office's sheet is never written


def test_only_addresses_are_sent(found: Callable[[], dict], server: WeatherServer) -> None:
    found()
    (asked,) = server.asked
    assert asked.method == "POST"
    assert b'name="benchmark"' in asked.body
    assert b"Public_AR_Current" in asked.body
    assert b"12 Mill Lane,Ambervane,WI,53000" in asked.body
    for private in (b"Invented", b"L-01", b"Placed Street", b"church"):
        assert private not in asked.body


def test_nothing_counts_before_it_is_confirmed(found: Callable[[], dict], folder: Path) -> None:
    found()
    with pytest.raises(BadInput, match=r"row 2, latitude: empty.*weather geocode"):
        read_sites(folder, crew_names=())
    assert [place.site_id for place in confirm(folder, ["all"])] == ["L-01"]  # questions are not "all"
    confirm(folder, ["L-02"])
    with pytest.raises(BadInput, match="L-04: has no place"):
        confirm(folder, ["L-04"])
    with pytest.raises(BadInput, match="L-99 is not in"):
        confirm(folder, ["L-99"])
    lines = SHEET.splitlines(keepends=True)
    (folder / "sites.csv").write_text("".join([*lines[:3], lines[7]]))
    sites, _ = read_sites(folder, crew_names=())
    assert [(site.site_id, site.latitude) for site in sites] == [
        ("L-01", 43.0511), ("L-02", 43.0521), ("L-07", 43.05),
    ]  # fmt: skip


def test_a_confirmed_place_ends_when_the_address_changes(found: Callable[[], dict], folder: Path) -> None:
    found()
    confirm(folder, ["all"])
    lines = SHEET.splitlines(keepends=True)
    (folder / "sites.csv").write_text(lines[0] + lines[1].replace("12 Mill", "14 Mill"))
    with pytest.raises(BadInput, match="row 2, latitude: empty"):
        read_sites(folder, crew_names=())
    places = found()
    assert places["L-01"].latitude == 43.0521
    assert not places["L-01"].confirmed


def test_what_is_known_is_not_asked(found: Callable[[], dict], folder: Path, server: WeatherServer) -> None:
    found()
    confirm(folder, ["all"])
    server.forget()
    again = found()
    assert again["L-01"].confirmed
    (asked,) = server.asked
    assert b"12 Mill Lane" not in asked.body
    assert b"14 Mill Lane" not in asked.body  # its question stands
    assert b"9 Tansy Street" in asked.body


def test_a_sheet_of_addresses_needs_no_coordinates(found: Callable[[], dict], folder: Path) -> None:
    (folder / "sites.csv").write_text(
        "site_id,customer,address,mean_depth_in\n"
        'L-01,Invented One,"12 Mill Lane, Ambervane, WI 53000",24\n'
        'L-04,Invented Four,"1 Long Road, Ambervane, WI 53000",24\n'
    )
    found()
    confirm(folder, ["all"])
    with pytest.raises(BadInput, match="row 3, latitude: no place is confirmed for it"):
        read_sites(folder, crew_names=())


def test_the_picture_shows_every_place_and_escapes_texts(found: Callable[[], dict], folder: Path) -> None:
    text = SHEET.replace("L-01", "L<01>")
    (folder / "sites.csv").write_text(text)
    found()
    picture = (folder / "coordinates.svg").read_text()
    assert picture.count("<circle") == 4  # three found, one of the sheet
    assert "L&lt;01&gt;" in picture
    assert "L<01>" not in picture
    assert "Is this the one?" in picture


@pytest.mark.parametrize(
    "answer",
    [Answer(b"<html>busy</html>"), Answer(b'"77","x","Match"\n'), Answer(b"\xff\xfe"),
     Answer(b"", status=500), Answer(b'"2","x","Maybe"\n')],
)  # fmt: skip
def test_an_answer_that_is_no_table_changes_nothing(
    folder: Path, server: WeatherServer, make_fetcher: Callable[..., Fetcher], answer: Answer
) -> None:
    server.routes["/batch"] = answer
    with pytest.raises(FetchFailed):
        look_up(folder, make_fetcher(), f"{server.url}/batch")
    assert not (folder / "coordinates.csv").exists()


@pytest.mark.parametrize(
    "place", ['"2","x","Match","Exact","Y","nan,nan","1","L"', '"2","x","Match","Exact","Y","-89.4","1","L"',
              '"2","x","Match","Exact","Y","43.05,-89.41","1","L"'],
)  # fmt: skip
def test_an_impossible_place_is_a_question(
    folder: Path, server: WeatherServer, make_fetcher: Callable[..., Fetcher], place: str
) -> None:
    lines = SHEET.splitlines(keepends=True)
    (folder / "sites.csv").write_text("".join(lines[:2]))
    server.routes["/batch"] = Answer(place.encode())
    (found,) = look_up(folder, make_fetcher(), f"{server.url}/batch")
    assert found.latitude is None
    assert "Write the place yourself" in found.question


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("12 Mill Lane, Ambervane, WI 53000", ("12 Mill Lane", "Ambervane", "WI", "53000")),
        ("12 Mill Lane, No 3, Ambervane, WI 53000-1234, USA",
         ("12 Mill Lane, No 3", "Ambervane", "WI", "53000")),
        ("12 Mill Lane,  Ambervane, WI", ("12 Mill Lane", "Ambervane", "WI", "")),
        ("12 Mill Lane, 53000", ("12 Mill Lane", "", "", "53000")),
        ("12 Mill Lane, Ambervane, Wisconsin, 53000", ("12 Mill Lane", "Ambervane", "Wisconsin", "53000")),
        ("12 Mill Lane", None),
        ("", None),
        (",,,", None),
    ],
)  # fmt: skip
def test_addresses_are_split_or_questioned(text: str, parts: tuple[str, ...] | None) -> None:
    found = split_address(text)
    assert (None if found is None else (found.street, found.city, found.state, found.zip_code)) == parts
