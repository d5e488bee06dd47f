"""Waits, calls and rounds, against a calendar written apart and a reservoir that is emptied minute by minute."""

import datetime as dt
import math
import tomllib
from bisect import bisect_left, bisect_right
from fractions import Fraction
from itertools import count
from pathlib import Path
from typing import Any

import holidays
import pytest
from hypothesis import example, given, reject
from hypothesis import strategies as st

from companion.case.delivery import WEEKDAYS
from companion.case.equipment import Reservoir
from companion.case.model import Case
from companion.case.read import case_from_dict
from companion.errors import CaseError
from companion.reckoning.notices import Notice
from companion.reckoning.plan import Plan, plan
from tests.cases import LEFT_OUT, NO_MARGINS, a_case, case_dict, valid_cases
from tests.few import FEW
from tests.reckoning.test_worst_case import checked
from tests.reckoning.walk import full_liquid_litres, minutes_until_short, staying_home, worst_day, worst_litres

# ── a calendar written apart: sorted lists of days, and places in them ──────────────────────────


class Calendar:
    """The days on which a supplier works and delivers, two years from the day of the guide."""

    def __init__(self, case: Case) -> None:
        clinic = case.clinic
        parts = (
            [clinic.subdivision] if clinic.subdivision else [None, *holidays.list_supported_countries()[clinic.region]]
        )
        known = [holidays.country_holidays(clinic.region, subdiv=part) for part in parts]
        stated = clinic.delivery.weekdays
        self.days = [case.issued + dt.timedelta(days=place) for place in range(730)]
        self.off = {day for day in self.days if any(day in part for part in known)}
        self.work = []
        self.deliver = []
        for day in self.days:
            name = day.strftime("%A").casefold()
            weekend = known[0].is_weekend(day)
            if day in self.off:
                continue
            if not weekend or (stated and name in stated):
                self.work.append(day)
            if name in stated if stated else not weekend:
                self.deliver.append(day)
        self.night = clinic.phone_night is not None
        self.lead = clinic.delivery.lead_days

    def heard(self, day: dt.date) -> dt.date:
        return day if self.night else self.work[bisect_left(self.work, day)]

    def comes(self, day: dt.date) -> dt.date:
        """Return the day of a delivery that is called for on a day."""
        called = self.heard(day)
        ready = called if self.lead == 0 else self.work[bisect_right(self.work, called) + self.lead - 1]
        return self.deliver[bisect_left(self.deliver, ready)]


def of_england(name: str, **clinic: Any) -> Case:
    """Return an example with two reservoirs and no number for the night, by the issue date."""
    raw = tomllib.loads(Path("examples/mill-street.toml").read_text(encoding="utf-8"))
    raw["issued"] = dt.date.fromisoformat(name)
    raw["prescription"]["review_date"] = raw["issued"] + dt.timedelta(weeks=8)
    raw["clinic"]["delivery"]["closed_days"] = 1
    raw["clinic"] |= clinic
    return case_from_dict(raw, "a test")


# ── holidays of the place ───────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("issued", "clinic", "days"),
    [
        # Good Friday 3 April, heard on Saturday 4, Easter Monday off, comes on Tuesday 7 (gov.uk, from memory).
        pytest.param("2026-03-28", {"subdivision": "ENG"}, 4, id="Easter in England"),
        # Called on Saturday 29 August, Sunday and the bank holiday off, comes on Tuesday.
        pytest.param("2026-08-27", {"subdivision": "ENG"}, 3, id="August in England"),
        # In Scotland that Monday is no holiday: only the Sunday lies between.
        pytest.param("2026-08-27", {"subdivision": "SCT"}, 2, id="August in Scotland"),
        # Where nobody has said, the holiday of England counts as a day off.
        pytest.param("2026-08-27", {"subdivision": None}, 3, id="August, nobody has said where"),
        # Thanksgiving, Monday 12 October 2026.
        pytest.param("2026-10-03", {"region": "CA", "subdivision": "ON"}, 3, id="Ontario"),
    ],
)
def test_the_longest_wait_knows_the_holidays_of_the_place(issued: str, clinic: dict[str, Any], days: int) -> None:
    assert plan(of_england(issued, **clinic)).wait_days == days


@pytest.mark.parametrize(
    ("subdivision", "right"),
    [("XX", "write one of ENG, NIR, SCT, WLS"), ("GB-ENG", "write one of ENG"), ("eng", "write one of ENG")],
)
def test_a_part_that_the_country_has_not(subdivision: str, right: str) -> None:
    with pytest.raises(CaseError) as caught:
        a_case({"clinic.region": "GB", "clinic.subdivision": subdivision})
    fault = caught.value.faults[0]
    assert fault.where == "clinic"
    assert f"'subdivision' is '{subdivision}'; {right}" in str(fault)


def test_a_country_without_parts() -> None:
    with pytest.raises(CaseError, match="leave it out: 'HT' has no parts"):
        a_case({"clinic.region": "HT", "clinic.subdivision": "OU"})


# ── a call that is heard ────────────────────────────────────────────────────────────────────────


def test_the_first_call_is_on_a_day_on_which_somebody_answers() -> None:
    # Issued on a Sunday, no number for the night: heard on Monday 19, comes on Tuesday 20.
    case = of_england("2026-10-18", policy={"safety_days": 5})
    first = plan(case).deliveries[0]
    assert (str(first.call_by), str(first.expected)) == ("2026-10-19", "2026-10-20")
    by_night = plan(of_england("2026-10-18", policy={"safety_days": 5}, phone_night="555-0168")).deliveries[0]
    assert str(by_night.call_by) == "2026-10-18"


@FEW
@given(valid_cases())
def test_every_call_is_heard_and_every_delivery_comes_on_a_day_of_deliveries(raw: dict[str, Any]) -> None:
    case = checked(raw)
    made, calendar = plan(case), Calendar(case)
    for line in made.deliveries:
        if line.call_by is None:
            assert line.expected.strftime("%A").casefold() in case.clinic.delivery.round.weekdays  # type: ignore[union-attr]
            assert line.day_off == (line.expected in calendar.off)
        else:
            assert calendar.heard(line.call_by) == line.call_by
            assert line.expected in calendar.deliver
            assert line.expected >= calendar.comes(line.call_by)


@FEW
@given(valid_cases())
def test_no_call_waits_longer_than_the_longest_wait(raw: dict[str, Any]) -> None:
    case = checked(raw)
    calendar = Calendar(case)
    until = max(case.prescription.review_date, case.issued + dt.timedelta(weeks=8))
    waits = [(calendar.comes(day) - day).days for day in calendar.days if day < until]
    stated = case.clinic.delivery.lead_days + case.clinic.delivery.closed_days
    assert plan(case).wait_days == max(stated, *waits)


# ── never dry before a delivery that is in time ─────────────────────────────────────────────────


def lasts_until(case: Case, filled: dt.date, day: dt.date, hour: float) -> bool:
    """Return whether each reservoir, full on the first minute of one day, still gives oxygen at an hour of another."""
    minutes = (day - filled).days * 1440 + hour * 60
    return all(
        minutes_until_short(worst_litres(case, item, Fraction(1)), worst_day(case, item)) >= minutes
        for item in case.reservoir
    )


@FEW
@given(valid_cases())
def test_never_dry_before_a_delivery_that_is_in_time(raw: dict[str, Any]) -> None:
    raw["clinic"]["policy"]["safety_days"] %= 3
    case = checked(raw)
    filled = case.issued
    for line in plan(case).deliveries:
        if line.in_time:
            assert lasts_until(case, filled, line.expected, case.clinic.delivery.latest_hour)
            assert lasts_until(case, filled, line.expected + dt.timedelta(days=case.clinic.policy.safety_days), 0)
        if not line.day_off:
            filled = line.expected


@FEW
@given(valid_cases())
def test_a_call_by_its_day_bridges_even_the_longest_wait(raw: dict[str, Any]) -> None:
    raw["clinic"]["delivery"].pop("round", None)
    case = checked(raw)
    made = plan(case)
    filled = case.issued
    for line in made.deliveries:
        if made.call.mark is not None and line.call_by is not None and line.call_by > filled:
            latest = line.call_by + dt.timedelta(days=made.wait_days)
            assert line.in_time
            assert line.expected <= latest
            assert lasts_until(case, filled, latest, case.clinic.delivery.latest_hour)
        filled = line.expected


def test_without_a_safety_day_a_delivery_counts_at_its_latest_hour() -> None:
    # 4,320 L a day from 24,966 L: 5 days and 18 hours 42 minutes, with no margin. The day of the delivery is the fifth.
    exact = NO_MARGINS["clinic.policy"] | {"safety_days": 0}
    home = {
        "portable": [],
        "prescription.rest": {"flow": "3 L/min", "hours_per_day": "24 h"},
        "prescription.exertion": LEFT_OUT,
        "prescription.sleep": LEFT_OUT,
        "clinic.policy": exact,
    }
    between = {
        hour: plan(
            a_case(home | {"clinic.delivery": {"lead_days": 1, "closed_days": 2, "latest_hour": hour}})
        ).call.next_within_days
        for hour in (1, 18, 19, 24)
    }
    assert between == {1: 5, 18: 5, 19: 4, 24: 4}


@pytest.mark.parametrize(("count", "enough"), [(13, False), (17, False), (18, False), (19, True)])
def test_the_back_up_is_held_against_the_hour_too(count: int, enough: bool) -> None:
    # Answered by day and night, delivered on every day but Veterans Day: two days, to six in the evening, 66 hours.
    # One cylinder lasts 3 h 50, so 13 last 49 hours and 18 last 69; but what is printed is whole days, and 19 make 3.
    made = plan(
        a_case(
            {
                "clinic.phone_night": "555-0143",
                "clinic.delivery": {"lead_days": 1, "closed_days": 0, "weekdays": list(WEEKDAYS)},
                "prescription.review_date": dt.date(2026, 11, 20),
                "cylinder[1].count": count,
            }
        )
    )
    assert made.wait_min == (2 * 24 + 18) * 60
    assert made.backup_needed == {"cylinder-1": 19}
    assert ("backup short" not in {notice.code for notice in made.notices}) == enough


# ── fixed rounds ────────────────────────────────────────────────────────────────────────────────


LARGE_ON_A_ROUND: dict[str, Any] = {
    "reservoir[1].oxygen_mass": "66 kg",
    "reservoir[1].empty_mass": "50 kg",
    "prescription.review_date": dt.date(2027, 1, 4),
    "clinic.phone_night": "555-0143",
    "clinic.delivery": {"lead_days": 1, "closed_days": 2, "round": {"weekdays": ["monday", "thursday"]}},
}
"""A large reservoir whose supplier comes on fixed days and by a call within three days."""


def on_a_round(fixed: dict[str, Any], **changes: Any) -> Plan:
    """Return the plan of that home with other days."""
    delivery = {"clinic.delivery": LARGE_ON_A_ROUND["clinic.delivery"] | {"round": fixed}}
    return plan(a_case(LARGE_ON_A_ROUND | delivery | changes))


@pytest.mark.parametrize(
    ("fixed", "dates"),
    [
        # The guide is of Monday 2 November 2026, so the round of that day is the one that filled it.
        ({"weekdays": ["thursday"]}, ["11-05", "11-12", "11-19", "11-26"]),
        ({"weekdays": ["tuesday", "friday"]}, ["11-03", "11-06", "11-10", "11-13"]),
        (
            {"weekdays": ["monday"], "every_weeks": 2, "starts": dt.date(2026, 11, 2)},
            ["11-16", "11-30", "12-14", "12-28"],
        ),
        (
            {"weekdays": ["monday"], "every_weeks": 2, "starts": dt.date(2026, 11, 9)},
            ["11-09", "11-23", "12-07", "12-21"],
        ),
        (
            {"weekdays": ["monday"], "every_weeks": 2, "starts": dt.date(2027, 5, 10)},
            ["11-09", "11-23", "12-07", "12-21"],
        ),
        (
            {"weekdays": ["friday", "monday"], "every_weeks": 3, "starts": dt.date(2026, 11, 6)},
            ["11-06", "11-23", "11-27", "12-14"],
        ),
    ],
)
def test_the_days_of_a_round(fixed: dict[str, Any], dates: list[str]) -> None:
    lines = on_a_round(fixed).deliveries
    assert [f"{line.expected:%m-%d}" for line in lines[:4]] == dates
    assert {line.call_by for line in lines} == {None}


def test_a_round_on_a_public_holiday_is_not_counted_on() -> None:
    lines = on_a_round({"weekdays": ["thursday"]}).deliveries
    told = {f"{line.expected:%m-%d}": (line.day_off, line.in_time) for line in lines}
    assert told["11-26"] == (True, True)  # Thanksgiving: the full reservoir of the 19th lasts 9 days
    assert told["12-03"] == (False, False)  # 14 days after the one that is sure
    assert told["12-10"] == (False, True)


def in_parts(divisions: int) -> dict[str, Any]:
    """Return changes for a gauge of so many parts, and 1 L/min all day from the reservoir."""
    return {
        "reservoir[1].gauge": {"kind": "float", "divisions": divisions},
        "portable": [],
        "prescription.rest": {"flow": "1 L/min", "hours_per_day": "24 h"},
        "prescription.exertion": LEFT_OUT,
        "prescription.sleep": LEFT_OUT,
        "clinic.delivery": {"lead_days": 1, "closed_days": 2},
    }


@pytest.mark.parametrize(
    ("changes", "mark", "within"),
    [
        # 66 kg last 9.73 days from full at the worst, 6.97 from three quarters, 4 from a half, 1.05 from a quarter.
        # The longest wait is over Christmas, 4 days to six in the evening; the gauge is read once a day: 5.75 days.
        # Between three quarters and a half it lasts 4 days, to the evening of the third day.
        ({}, Fraction(3, 4), 3),
        # Called by day and night on any day, it comes the next, or the one after a holiday: 2 days to the evening,
        # 3.75 in all. From a quarter it does not last to the next evening.
        ({"clinic.delivery": {"lead_days": 1, "closed_days": 0, "weekdays": list(WEEKDAYS)}}, Fraction(1, 2), None),
        ({"clinic.delivery": {"lead_days": 2, "closed_days": 2}}, Fraction(3, 4), 3),
        ({"clinic.delivery": {"lead_days": 9, "closed_days": 1}}, None, None),
        # At 1 L/min 9.1 days from two fifths and 2.9 from one; but two fifths is where a gauge in fifths is low.
        (in_parts(5), Fraction(2, 5), None),
        # 9.5 days from three eighths, 5.6 from two: to the evening of the fourth day.
        (in_parts(8), Fraction(3, 8), 4),
    ],
)
def test_the_mark_before_a_round_is_for_an_emergency(
    changes: dict[str, Any], mark: Fraction | None, within: int | None
) -> None:
    fixed = {"weekdays": ["monday", "thursday"]}
    changes = {
        path: value | {"round": fixed} if path == "clinic.delivery" else value for path, value in changes.items()
    }
    made = on_a_round(fixed, **changes)
    assert (made.call.mark, made.call.unless_within_days) == (mark, within)


# ── whoever reads the gauge each morning ────────────────────────────────────────────────────────

STARTS = st.one_of(st.sampled_from((0.0, 1e-6, 1.0)), st.floats(0, 1))
"""What a reservoir holds on the first morning, from the mark for a call (0) to full (1)."""


def first_morning(case: Case, item: Reservoir, mark: Fraction, start: float) -> float:
    """Return what can be drawn on a morning, at the worst of the gauge at every reading [L]."""
    at_mark, full = (worst_litres(case, item, level) for level in (mark, Fraction(1)))
    return at_mark + start * (full - at_mark)


@FEW
@given(valid_cases(), STARTS)
def test_whoever_calls_when_the_gauge_has_come_down_to_the_mark_is_covered(raw: dict[str, Any], start: float) -> None:
    case = checked(raw)
    made = plan(case)
    if made.call.mark is None:
        return
    for item in case.reservoir:
        kinds = worst_day(case, item), worst_day(staying_home(case), item)
        litres = first_morning(case, item, made.call.mark, start)
        while litres > worst_litres(case, item, made.call.mark):
            litres -= max(map(sum, kinds))
        for day in kinds:
            assert minutes_until_short(litres, day) >= made.bridge_days * 1440


@FEW
@given(valid_cases(), STARTS, st.integers(0, 14))
@example(case_dict(LARGE_ON_A_ROUND), 0.0, 3)
@example(case_dict(LARGE_ON_A_ROUND), 0.1, 4)
def test_whoever_waits_for_the_round_or_calls_before_it_is_covered(
    raw: dict[str, Any], start: float, round_in_days: int
) -> None:
    raw["clinic"]["delivery"].setdefault("round", {"weekdays": ["thursday"]})
    case = checked(raw)
    made = plan(case)
    mark, within = made.call.mark, made.call.unless_within_days
    if mark is None:
        return
    assert within is None or Fraction(1, 4) < mark < 1
    for item in case.reservoir:
        at_mark = worst_litres(case, item, mark)
        at_next = worst_litres(case, item, Fraction(math.ceil(mark * item.gauge.divisions) - 1, item.gauge.divisions))
        for day in (worst_day(case, item), worst_day(staying_home(case), item)):
            first = first_morning(case, item, mark, start)
            comes = round_in_days
            for morning in range(round_in_days + 1):
                litres = first - morning * sum(day)
                waits = within is not None and litres >= at_next and round_in_days - morning <= within
                if litres <= at_mark and not waits:
                    comes = min(comes, morning + made.wait_days)
                    break
            assert minutes_until_short(first, day) >= comes * 1440 + case.clinic.delivery.latest_hour * 60


@FEW
@given(valid_cases())
def test_no_date_puts_off_a_call_that_the_gauge_asks_for_at_the_highest_use(raw: dict[str, Any]) -> None:
    raw["clinic"]["delivery"].pop("round", None)
    case = checked(raw)
    made, calendar = plan(case), Calendar(case)
    if made.call.mark is None:
        return
    # Full on the first minute of its day; whatever the error of the gauge is, it is the same at full and at the mark.
    asks = min(
        next(
            morning
            for morning in count(1)
            if full_liquid_litres(item) * float(1 - made.call.mark)
            <= morning * max(sum(worst_day(case, item)), sum(worst_day(staying_home(case), item))) * (1 + 1e-3)
        )
        for item in case.reservoir
    )
    filled = case.issued
    for line in made.deliveries:
        assert line.call_by is not None
        assert line.call_by <= max(calendar.heard(filled), filled + dt.timedelta(days=asks))
        filled = line.expected


@pytest.mark.parametrize(
    ("fixed", "words"),
    [
        ({"weekdays": ["monday"], "every_weeks": 2}, "'every_weeks' is 2; write in 'starts' a day"),
        ({"weekdays": ["monday"], "starts": dt.date(2026, 11, 3)}, "'starts' is 2026-11-03, a Tuesday"),
        ({"weekdays": []}, "fewer than there must be"),
        ({"weekdays": ["thursday"], "every_weeks": 0}, "1"),
    ],
)
def test_a_round_that_cannot_be_dated(fixed: dict[str, Any], words: str) -> None:
    with pytest.raises(CaseError, match=words):
        a_case({"clinic.delivery": {"lead_days": 1, "closed_days": 2, "round": fixed}})


# ── no call mark, and what would help ───────────────────────────────────────────────────────────


def first_rank(made: Plan) -> dict[str, dict[str, Any]]:
    return {notice.code: dict(notice.values) for notice in made.notices if notice.rank == 1}


TIGHT: dict[str, Any] = {"clinic.delivery": {"lead_days": 1, "closed_days": 3}}
HELPED = TIGHT | {"clinic.policy": {"safety_days": 1}}


def test_the_first_rank_comes_first() -> None:
    ranks = [notice.rank for notice in plan(a_case(TIGHT)).notices]
    assert ranks == sorted(ranks)
    assert set(ranks) == {1, 2}
    assert Notice("no backup").rank == 2


def test_where_only_a_full_reservoir_bridges_the_wait_each_delivery_is_agreed_on_with_the_one_before() -> None:
    made = plan(a_case(TIGHT))
    assert made.call.mark is None
    lines = made.deliveries
    assert [line.call_by for line in lines[1:]] == [line.expected for line in lines[:-1]]
    for line in lines:
        assert line.call_by is not None
        assert line.in_time == ((line.expected - line.call_by).days <= made.call.next_within_days)


def test_each_thing_that_is_said_to_help_does() -> None:
    # A full day more than the wait, from a gauge that is read once a day, is too much for the largest reservoir; with
    # one safety day it is not.
    told = first_rank(plan(a_case(HELPED)))
    larger, wait, between = told["larger reservoir"], told["shorter wait"], told["a round instead"]
    size = {"reservoir[1].oxygen_mass": f"{larger['kg']} kg", "reservoir[1].empty_mass": "60 kg"}
    assert plan(a_case(HELPED | size)).call.mark == Fraction(3, 4)
    slightly_less = {**size, "reservoir[1].oxygen_mass": f"{larger['kg'] * 0.9:.1f} kg"}
    assert plan(a_case(HELPED | slightly_less)).call.mark is None
    # A night number and every day a working day, so that the wait is what is stated.
    open_daily = {
        "lead_days": 0,
        "closed_days": wait["wait"],
        "weekdays": list(WEEKDAYS),
    }
    always = {"clinic.phone_night": "555-0143"}
    assert plan(a_case(HELPED | always | {"clinic.delivery": open_daily})).call.mark == Fraction(3, 4)
    one_more = open_daily | {"closed_days": wait["wait"] + 1}
    assert plan(a_case(HELPED | always | {"clinic.delivery": one_more})).call.mark is None
    assert between["between"] == plan(a_case(HELPED)).call.next_within_days


@FEW
@given(valid_cases())
def test_a_larger_reservoir_that_is_said_to_help_does(raw: dict[str, Any]) -> None:
    case = checked(raw)
    told = [dict(notice.values) for notice in plan(case).notices if notice.code == "larger reservoir"]
    for held in told:
        place = int(held["container"][-1]) - 1
        mass = {"oxygen_mass": f"{held['kg']} kg", "empty_mass": f"{held['kg']} kg"}
        item = {name: value for name, value in raw["reservoir"][place].items() if name != "liquid_volume"} | mass
        raw["reservoir"][place] = item
    try:
        after = plan(checked(raw))
    except CaseError:
        reject()  # so large a reservoir boils off more than the small one
    larger = {held["container"] for held in told}
    assert not [
        notice
        for notice in after.notices
        if notice.code in ("no call mark", "no call mark on a round", "round too long")
        and dict(notice.values)["container"] in larger
    ]


def test_two_reservoirs_are_each_judged_alone() -> None:
    # Together they would bridge the wait; which of them is used up first, nobody has said.
    one = a_case().reservoir[0].model_dump()
    both = plan(a_case(TIGHT | {"reservoir": [one, one]}))
    assert both.call == plan(a_case(TIGHT)).call
    assert [dict(notice.values)["container"] for notice in both.notices if notice.code == "no call mark"] == [
        "reservoir-1",
        "reservoir-2",
    ]


@pytest.mark.parametrize("gap_weeks", [1, 2])
def test_a_round_that_comes_too_seldom(gap_weeks: int) -> None:
    fixed = {"weekdays": ["monday"], "every_weeks": gap_weeks, "starts": dt.date(2026, 11, 2)}
    made = plan(a_case({"clinic.delivery": {"lead_days": 1, "closed_days": 1, "round": fixed}}))
    told = first_rank(made)["round too long"]
    assert told["gap"] == 7 * gap_weeks > told["most"] == made.call.next_within_days
    assert not all(line.in_time for line in made.deliveries)


@FEW
@given(valid_cases())
def test_no_home_is_told_to_call_at_full(raw: dict[str, Any]) -> None:
    made = plan(checked(raw))
    assert made.call.mark != 1
    if made.call.mark is None:
        assert any(notice.rank == 1 and notice.code.startswith("no call mark") for notice in made.notices)
