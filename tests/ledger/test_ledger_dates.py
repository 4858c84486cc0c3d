"""Days as people say them."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecaster.season.dates import MONTHS, parse_said_day, short_day
from forecaster.season.tables import BadCell

THURSDAY = date(2025, 10, 16)


def said(text: str, *, today: date = THURSDAY, ahead: bool = False) -> date:
    return parse_said_day(text, today=today, season=2025, ahead=ahead)


@pytest.mark.parametrize(
    "text",
    [
        *("10/14", "14/10", "14.10.", "14 Oct", "oct 14", "Oct. 14th", "14th of October", "October 14, 2025"),
        *("14-Oct-2025", "2025-10-14", "10/14/2025", "tue", "Tuesday", "2 days ago", "day before yesterday"),
        " 14  oct ",
    ],
)
def test_one_day_said_in_many_ways(text):
    assert said(text) == date(2025, 10, 14)


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("today", 16),
        ("yesterday", 15),
        ("tomorrow", 17),
        ("in 1 week", 23),
        ("1 week ago", 9),
        ("11/11", None),
    ],
)
def test_days_seen_from_today(text, day):
    assert said(text) == (date(2025, 10, day) if day else date(2025, 11, 11))


def test_a_weekday_is_the_last_one_or_for_promises_the_next_one():
    assert said("fri") == date(2025, 10, 10)
    assert said("fri", ahead=True) == date(2025, 10, 17)


def test_january_belongs_to_the_fall_before():
    assert said("5 Jan") == date(2026, 1, 5)
    assert said("1/31") == date(2026, 1, 31)
    assert said("Feb 1") == date(2025, 2, 1)


@pytest.mark.parametrize(
    ("text", "answer"),
    [
        ("10/5", '"10/5" may be 5 October or 10 May. Write 5 Oct or 10 May.'),
        ("11/10", '"11/10" may be 10 November or 11 October. Write 10 Nov or 11 Oct.'),
        ("thu", 'today is such a day, so "thu" may be Thu 16 Oct or Thu 9 Oct. Write 16 Oct or 9 Oct.'),
        ("next fri", '"next fri" may be Fri 17 Oct or Fri 24 Oct. Write 17 Oct or 24 Oct.'),
        ("last fri", '"last fri" may be Fri 10 Oct or Fri 3 Oct. Write 10 Oct or 3 Oct.'),
        ("10/5/2025", '"10/5/2025" may be 5 October or 10 May. Write 2025-10-05 or 2025-05-10.'),
    ],
)
def test_two_meanings_are_both_told(text, answer):
    with pytest.raises(BadCell) as caught:
        said(text)
    assert str(caught.value) == answer


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("yestrday", "Did you mean yesterday?"),
        ("Octobr 3", "Did you mean october?"),
        ("31 Feb", "is no day of the calendar"),
        ("13/32", "is no day of the calendar"),
        ("29 Feb", "is no day of the calendar"),  # 2025 has none
        ("soon", "Write it like 14 Oct, 10/14"),
        ("", "is not a day"),
        ("45945", "write 2025-10-15"),  # a spreadsheet's day number
        ("10/14/25", "year of two figures. Write 2025-10-14"),
    ],
)
def test_no_day(text, part):
    with pytest.raises(BadCell) as caught:
        said(text)
    assert part.casefold() in str(caught.value).casefold()


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.dates(date(2025, 2, 1), date(2026, 1, 31)), st.dates(date(2025, 1, 1), date(2026, 12, 31)))
def test_every_day_of_the_season_comes_back_from_each_unmistakable_way(day, today):
    month = MONTHS[day.month - 1]
    for text in (f"{day.day} {month}", f"{month[:3]} {day.day}", day.isoformat(), f"{day.day}. {month[:3]}."):
        if not text.startswith(f"{day.day}. "):
            assert said(text, today=today) == day
    assert said(short_day(day).split(" ", 1)[1], today=today) == day


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.dates(date(2025, 2, 1), date(2026, 1, 31)))
def test_numbers_mean_their_day_or_are_refused_with_it(day):
    text = f"{day.month}/{day.day}"
    if day.day > 12 or day.day == day.month:
        assert said(text) == day
    else:
        with pytest.raises(BadCell, match=f"{day.day} {MONTHS[day.month - 1].capitalize()}"):
            said(text)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.text(max_size=25), st.booleans())
def test_any_text_is_a_day_or_refused_with_a_cure(text, ahead):
    answer = ""
    try:
        assert isinstance(said(text, ahead=ahead), date)
    except BadCell as error:
        answer = str(error)
    assert answer == "" or "Write" in answer or "Correct" in answer or "write" in answer


@settings(max_examples=100, deadline=None, derandomize=True)
@given(
    st.dates(date(2025, 8, 1), date(2026, 1, 31)),
    st.sampled_from(["mon", "tue", "wed", "sat"]),
    st.booleans(),
)
def test_a_weekday_is_at_most_six_days_away(today, name, ahead):
    try:
        day = said(name, today=today, ahead=ahead)
    except BadCell:
        assert short_day(today)[:3].casefold() == name
        return
    assert short_day(day)[:3].casefold() == name
    assert timedelta(0) < (day - today if ahead else today - day) < timedelta(days=7)
