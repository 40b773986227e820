"""Days only roughly known. The forms follow ISO 8601-2:2019 (EDTF), from memory; the bounds are calendar arithmetic."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bobstay.ingest.edtf import DateError, bounds

READ = [
    # as written        earliest      latest
    ("2019-04-03", "2019-04-03", "2019-04-03"),
    ("2019-04", "2019-04-01", "2019-04-30"),
    ("2020-02", "2020-02-01", "2020-02-29"),
    ("2019", "2019-01-01", "2019-12-31"),
    ("2009~", "2008-01-01", "2010-12-31"),
    ("2009%", "2008-01-01", "2010-12-31"),
    ("2009?", "2009-01-01", "2009-12-31"),
    ("2009-05~", "2009-04-01", "2009-06-30"),
    ("2009-01~", "2008-12-01", "2009-02-28"),
    ("2009-12%", "2009-11-01", "2010-01-31"),
    ("2009-05-03~", "2009-05-02", "2009-05-04"),
    ("199X", "1990-01-01", "1999-12-31"),
    ("199X~", "1980-01-01", "2009-12-31"),
    ("19XX", "1900-01-01", "1999-12-31"),
    ("2004-XX", "2004-01-01", "2004-12-31"),
    ("2004-XX-XX", "2004-01-01", "2004-12-31"),
    ("2004-02-XX", "2004-02-01", "2004-02-29"),
    ("XXXX", None, None),
    ("../2009", None, "2009-12-31"),
    ("/2009", None, "2009-12-31"),
    ("2009/..", "2009-01-01", None),
    ("2009/", "2009-01-01", None),
    ("../..", None, None),
    ("2004/2009", "2004-01-01", "2009-12-31"),
    ("2004-06/2006-08-09", "2004-06-01", "2006-08-09"),
    ("2004~/2009", "2003-01-01", "2009-12-31"),
    ("2001-21", "2001-03-01", "2001-05-31"),
    ("2001-22", "2001-06-01", "2001-08-31"),
    ("2001-23", "2001-09-01", "2001-11-30"),
    ("2001-24", "2001-01-01", "2002-02-28"),  # winter is either end of the year
    ("2001-22~", "2001-03-01", "2001-11-30"),
    ("2020-05-01 00:00:00", "2020-05-01", "2020-05-01"),
    ("2020-05-01T00:00:00", "2020-05-01", "2020-05-01"),
    ("2020-05-01T13:45:10.5Z", "2020-05-01", "2020-05-01"),
    ("2020-05-01T13:45+02:00", "2020-05-01", "2020-05-01"),
    ("9999~", "9998-01-01", "9999-12-31"),
    ("0001~", "0001-01-01", "0002-12-31"),
]


@pytest.mark.parametrize(("text", "earliest", "latest"), READ)
def test_rough_days_have_bounds(text, earliest, latest):
    expected = tuple(date.fromisoformat(d) if d else None for d in (earliest, latest))
    assert bounds(text) == expected


REFUSED = [
    ("2019-02-30", "there is no such day"),
    ("2019-13", "there is no such day"),
    ("2019-00-10", "there is no such day"),
    ("0000", "there is no such day"),
    ("2001-25", "there is no such day"),
    ("2009/2004", "the range ends before it begins"),
    ("2004/2005/2006", "not a day that can be read"),
    ("Y170000", "years before 1 or after 9999 are not read"),
    ("-0044", "years before 1 or after 9999 are not read"),
    ("XXXX-12-XX", "only the end of a date may be left open with X"),
    ("199X-05", "only the end of a date may be left open with X"),
    ("2004-XX-05", "only the end of a date may be left open with X"),
    ("3/4/19", "day and month cannot be told apart"),
    ("25.12.2019", "day and month cannot be told apart"),
    ("last spring", "not a day that can be read"),
    ("2019-4-3", "not a day that can be read"),
    ("45000", "not a day that can be read"),
    ("2020-05-01 noon", "not a day that can be read"),
    ("2019-04-03??", "not a day that can be read"),
]


@pytest.mark.parametrize(("text", "reason"), REFUSED)
def test_what_is_no_day_is_refused_with_its_reason(text, reason):
    with pytest.raises(DateError) as fault:
        bounds(text)
    assert fault.value.reason == reason
    assert fault.value.hint


DECLARED = [
    ("3/4/19", "dmy", "2019-04-03"),
    ("3/4/19", "mdy", "2019-03-04"),
    ("03.04.2019", "dmy", "2019-04-03"),
    ("3-4-98", "dmy", "1998-04-03"),
    ("3/4/27", "dmy", "2027-04-03"),
    ("3/4/28", "dmy", "1928-04-03"),  # 2028 would lie after the limit
    ("12/31/2019", "mdy", "2019-12-31"),
    ("2019-04-03", "mdy", "2019-04-03"),
]


@pytest.mark.parametrize(("text", "dates", "day"), DECLARED)
def test_declared_orders_are_read(text, dates, day):
    expected = date.fromisoformat(day)
    assert bounds(text, dates=dates, limit=date(2027, 1, 10)) == (expected, expected)


@pytest.mark.parametrize(("text", "dates"), [("12/31/2019", "dmy"), ("31/12/2019", "mdy"), ("30.2.2019", "dmy")])
def test_a_day_that_the_declared_order_does_not_have_is_refused(text, dates):
    with pytest.raises(DateError, match="there is no such day, read as"):
        bounds(text, dates=dates)


def test_mixed_separators_are_no_day():
    with pytest.raises(DateError):
        bounds("3/4.19", dates="dmy")


@given(st.text(max_size=14) | st.from_regex(r"[0-9X]{4}(-[0-9X]{2}){0,2}[~?%]?(/[0-9X]{4})?", fullmatch=True))
def test_any_text_is_bounds_in_order_or_refused(text):
    try:
        earliest, latest = bounds(text, dates="dmy")
    except DateError:
        return
    assert earliest is None or latest is None or earliest <= latest


@given(st.dates(), st.sampled_from(["", "~", "%", "?"]))
def test_the_day_itself_lies_within_every_rougher_form(day, mark):
    for form in (day.isoformat(), f"{day.year:04}-{day.month:02}", f"{day.year:04}"):
        try:
            earliest, latest = bounds(form + mark)
        except DateError as fault:
            assert fault.reason == "years before 1 or after 9999 are not read"
            continue
        assert earliest <= day <= latest
