"""Single cells: numbers with units, dates, words; each refusal says what to write."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.season.cells import parse_choice, parse_weekdays, parse_yes_no
from forecaster.season.moments import parse_clock, parse_day, parse_moment
from forecaster.season.quantities import (
    AREA_UNITS,
    LENGTH_UNITS,
    STEP_UNITS,
    TEMPERATURE_UNITS,
    Quantity,
    parse_number,
    parse_quantity,
    shown,
)
from forecaster.season.tables import BadCell

DEPTH = Quantity("mean_depth", LENGTH_UNITS, low=6, high=240)
WATER = Quantity("water", TEMPERATURE_UNITS, low=31.1, high=104)
OFFSET = Quantity("minimum_offset", STEP_UNITS, low=-15, high=15)
SURFACE = Quantity("surface", AREA_UNITS, low=4, high=1_000_000)
INCH, CM, FOOT, METRE = LENGTH_UNITS
FAHRENHEIT, CELSIUS = TEMPERATURE_UNITS


def refusal(call, *arguments, **options) -> str:
    with pytest.raises(BadCell) as caught:
        call(*arguments, **options)
    return str(caught.value)


# --- numbers: hand values


@pytest.mark.parametrize(
    ("text", "quantity", "unit", "internal"),
    [
        ("36", DEPTH, INCH, 0.9144),
        ("36.0", DEPTH, INCH, 0.9144),
        ("6", DEPTH, INCH, 0.1524),  # the limit itself
        ("240", DEPTH, INCH, 6.096),
        ("90", DEPTH, CM, 0.9),
        ("15.24", DEPTH, CM, 0.1524),
        ("609.6", DEPTH, CM, 6.096),
        ("3", DEPTH, FOOT, 0.9144),
        (".9", DEPTH, METRE, 0.9),
        ("50", WATER, FAHRENHEIT, 10.0),
        ("-0.5", WATER, CELSIUS, -0.5),
        ("-9", OFFSET, STEP_UNITS[0], -5.0),  # a difference: no 32
        ("+2", OFFSET, STEP_UNITS[1], 2.0),
        ("100", SURFACE, AREA_UNITS[0], 9.290304),
    ],
)
def test_quantities(text, quantity, unit, internal):
    assert parse_quantity(text, quantity, unit) == pytest.approx(internal, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("3ft", '"3ft" is not a number of inches (6 to 240). Write 36.'),
        ("3 feet", "Write 36."),
        ("3'", "Write 36."),
        ("2' 6\"", "Write 30."),
        ("2 ft 6 in", "Write 30."),
        ('36"', "Write 36."),
        ("36 in.", "Write 36."),
        ("90cm", "Write 35.43."),
        ("1 m", "Write 39.37."),
        ("3 in", "That is 3 inches, which is not allowed. Correct it."),
        ("3 yd", "Write a number alone"),
        ("deep", '"deep" is not a number of inches (6 to 240). Write a number alone'),
        ("24-30", "Write a number alone"),
        ("about 30", "Write 30."),
        ("~30", "Write 30."),
        ("24,5", "Write 24.5, without a comma."),
        ("nan", "Write a number alone"),
        ("inf", "Write a number alone"),
        ("1e2", "Write a number alone"),
        ("#N/A", "It is a spreadsheet's error: correct its formula."),
        ("-4", "-4 is outside the allowed 6 to 240 inches. Correct it."),
        ("5.9", "5.9 is outside the allowed 6 to 240 inches. Is it in feet? Then write 70.8;"),
        ("2", "or, if the whole column is, rename it mean_depth_ft."),
        (
            "300",
            "Is it in centimetres? Then write 118.1; or, if the whole column is, rename it mean_depth_cm.",
        ),
        ("10000", "10000 is outside the allowed 6 to 240 inches. Correct it."),
    ],
)
def test_refused_inches(text, message):
    assert message in refusal(parse_quantity, text, DEPTH, INCH)


def test_ranges_are_shown_in_the_unit_of_the_column():
    assert "is outside the allowed 15.24 to 609.6 centimetres." in refusal(parse_quantity, "7", DEPTH, CM)
    assert "is outside the allowed -0.5 to 40 °C." in refusal(parse_quantity, "41", WATER, CELSIUS)


def test_the_wrong_temperature_scale_is_named_both_ways():
    assert "Is it in °F? Then write 5; or, if the whole column is, rename it water_f." in refusal(
        parse_quantity, "41", WATER, CELSIUS
    )
    assert "Is it in °C? Then write 53.6; or, if the whole column is, rename it water_c." in refusal(
        parse_quantity, "12", WATER, FAHRENHEIT
    )
    assert refusal(parse_quantity, "10 °C", WATER, FAHRENHEIT).endswith("Write 50.")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("1,200", '"1,200" is not a number (0 to 5000). Write 1200 or 1.2, without a comma.'),
        ("1,200.5", "Write 1200.5, without a comma."),
        ("2h", "Write 2."),
        ("2 hours", "Write 2."),
        ("9000 h", "Write a number alone"),
        ("two", "Write a number alone"),
        ("-1", "-1 is outside the allowed 0 to 5000. Correct it."),
    ],
)
def test_refused_numbers(text, message):
    assert message in refusal(parse_number, text, low=0, high=5000)


def test_a_decimal_comma_counts_where_semicolons_part_the_cells():
    assert parse_number("24,5", low=0, high=100, decimal_comma=True) == 24.5
    assert parse_number("24.5", low=0, high=100, decimal_comma=True) == 24.5
    assert "not a number" in refusal(parse_number, "1.200,5", low=0, high=5000, decimal_comma=True)


# --- dates


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2025-10-14", date(2025, 10, 14)),
        ("2025-1-4", date(2025, 1, 4)),
        ("10/14/2025", date(2025, 10, 14)),
        ("14/10/2025", date(2025, 10, 14)),
        ("14.10.2025", date(2025, 10, 14)),
        ("10/10/2025", date(2025, 10, 10)),
        ("2024-02-29", date(2024, 2, 29)),
    ],
)
def test_days(text, day):
    assert parse_day(text) == day


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("10/5/2025", "may be 5 October or 10 May. Write 2025-10-05 or 2025-05-10."),
        ("10/14/25", "has a year of two figures. Write 2025-10-14."),
        ("10/5/25", "Write 2025-10-05 or 2025-05-10."),
        ("2025-02-29", "is no day of the calendar. Write year-month-day, like 2025-10-14."),
        ("13/32/2025", "is no day of the calendar."),
        ("Oct 14, 2025", "is not a date. Write 2025-10-14."),
        ("14 October 2025", "Write 2025-10-14."),
        # 45944 - 45658 = 286 days after 1 January 2025, which spreadsheets count as 45658
        ("45944", "looks like a spreadsheet's day number: write 2025-10-14, or format the column as date."),
        ("soon", '"soon" is not a date. Write year-month-day, like 2025-10-14.'),
        ("########", "spreadsheet's error: correct its formula, or widen the column."),
        ("0025-10-14", "lies outside the years 1900 to 2199. Correct the year."),
        ("2025-10", "is not a date."),
    ],
)
def test_refused_days(text, message):
    assert message in refusal(parse_day, text)


def test_spreadsheet_day_numbers_agree_with_openpyxl():
    from openpyxl.utils.datetime import from_excel

    for number in (45658, 45944, 46000):
        assert f"write {from_excel(number).date()}," in refusal(parse_day, str(number))


@pytest.mark.parametrize(
    ("text", "hour"),
    [
        ("15:30", 15.5),
        ("00:00", 0.0),
        ("3:30 pm", 15.5),
        ("12:00 PM", 12.0),
        ("12:15 a.m.", 0.25),
        ("7pm", 19.0),
    ],
)
def test_clock_times(text, hour):
    assert parse_clock(text) == hour


@pytest.mark.parametrize("text", ["24:00", "9:60", "13:00 pm", "0:30 am", "15", "noon", "9:5"])
def test_refused_clock_times(text):
    assert refusal(parse_clock, text) == f'"{text}" is not a time of day. Write it like 15:30.'


@pytest.mark.parametrize(
    ("text", "hour"),
    [
        ("2025-10-14", None),
        ("2025-10-14 15:30", 15.5),
        ("2025-10-14T15:30:00", 15.5),
        ("2025-10-14  3:30 PM", 15.5),
        ("10/14/2025 15:30", 15.5),
        ("2025-10-14 3pm", 15.0),
        ("2025-10-14 00:00:00", 0.0),
    ],
)
def test_moments(text, hour):
    assert parse_moment(text) == (date(2025, 10, 14), hour)


@pytest.mark.parametrize("zone", ["Z", "+00:00", "-0500", " UTC"])
def test_a_time_zone_in_a_cell_is_refused(zone):
    message = refusal(parse_moment, f"2025-10-14T15:30{zone}")
    assert message.endswith("carries a time zone. Write the local clock time, like 2025-10-14 15:30.")


# --- words


@pytest.mark.parametrize(
    ("text", "days"),
    [
        ("mon,tue", {0, 1}),
        ("mon tue", {0, 1}),
        ("Mon; Tues / THURSDAY", {0, 1, 3}),
        ("mon-fri", {0, 1, 2, 3, 4}),
        ("mon - wed, sat", {0, 1, 2, 5}),
        ("fri–mon", {4, 5, 6, 0}),
        ("sun-sun", {6}),
    ],
)
def test_weekdays(text, days):
    assert parse_weekdays(text) == days


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("mo", '"mo" is not a day'),
        ("mon-", '"" is not a day'),
        ("fry", "Did you mean fri"),
        ("daily", "Write mon, tue"),
    ],
)
def test_refused_weekdays(text, message):
    assert message in refusal(parse_weekdays, text)


def test_words():
    assert [parse_yes_no(text) for text in ("yes", "Y", "TRUE", "no", "N", "False")] == [True] * 3 + [
        False
    ] * 3
    assert refusal(parse_yes_no, "x") == '"x" is neither yes nor no. Write yes or no.'
    assert parse_choice("Fall_without  POND", ["pond", "fall without pond"]) == "fall without pond"
    assert refusal(parse_choice, "opne", ["average", "open"]) == (
        '"opne" is not one of average, open. Did you mean open?'
    )
    assert refusal(parse_choice, "3", ["average", "open"]).endswith("Write one of these.")


# --- invariants

quantities = st.sampled_from([DEPTH, WATER, OFFSET, SURFACE])


@settings(derandomize=True, max_examples=300, deadline=None)
@given(quantities, st.data(), st.floats(0, 1))
def test_every_unit_of_a_quantity_gives_the_same_value(quantity, data, share):
    usual, other = quantity.units[0], data.draw(st.sampled_from(quantity.units))
    low, high = quantity.range_in(other)
    written = low + share * (high - low)
    internal = parse_quantity(f"{written:.9f}", quantity, other)
    again = usual.from_internal(internal)
    assert quantity.low - 1e-5 <= again <= quantity.high + 1e-5
    assert other.from_internal(internal) == pytest.approx(written, abs=1e-6)


@settings(derandomize=True, max_examples=200, deadline=None)
@given(quantities, st.data(), st.floats(0.01, 0.99))
def test_the_number_to_write_is_accepted_and_is_the_same_quantity(quantity, data, share):
    column, typed = (data.draw(st.sampled_from(quantity.units)) for _ in range(2))
    low, high = quantity.range_in(typed)
    number = round(low + share * (high - low), 3)
    message = refusal(parse_quantity, f"{number} {typed.suffix}", quantity, column)
    write = message.rpartition("Write ")[2].rstrip(".")
    assert column.from_internal(parse_quantity(write, quantity, column)) == pytest.approx(
        column.from_internal(typed.to_internal(number)), abs=0.0051
    )


@settings(derandomize=True, max_examples=200, deadline=None)
@given(st.floats(-1e6, 1e6))
def test_a_number_shown_can_be_typed(value):
    assert parse_number(shown(value), low=-1e6, high=1e6) == pytest.approx(value, abs=5.1e-5)


@settings(derandomize=True, max_examples=200, deadline=None)
@given(
    st.dates(date(1900, 1, 1), date(2199, 12, 31)),
    st.sampled_from(["{:%Y-%m-%d}", "{:%m/%d/%Y}", "{:%d.%m.%Y}"]),
)
def test_a_date_is_read_back_or_both_meanings_are_told(day, pattern):
    text = pattern.format(day)
    try:
        assert parse_day(text) == day
    except BadCell as error:
        assert day.day <= 12
        assert day.day != day.month
        assert day.isoformat() in str(error)  # noqa: PT017
        assert f"{day.year}-{day.day:02}-{day.month:02}" in str(error)  # noqa: PT017


@settings(derandomize=True, max_examples=200, deadline=None)
@given(st.integers(0, 24 * 60 - 1), st.booleans())
def test_a_clock_time_is_read_back(minutes, twelve_hours):
    moment = datetime(2025, 10, 14) + timedelta(minutes=minutes)
    text = moment.strftime("%Y-%m-%d %I:%M %p" if twelve_hours else "%Y-%m-%dT%H:%M")
    assert parse_moment(text) == (moment.date(), pytest.approx(minutes / 60))


@settings(derandomize=True, max_examples=300, deadline=None)
@given(st.text(max_size=12))
def test_any_text_is_a_value_or_a_refusal_with_the_text(text):
    for parse in (parse_day, parse_moment, parse_clock, parse_yes_no, parse_weekdays):
        try:
            parse(text)
        except BadCell as error:
            assert str(error)  # noqa: PT017
    try:
        parse_quantity(text, DEPTH, INCH)
    except BadCell as error:
        assert "6 to 240" in str(error)  # noqa: PT017
