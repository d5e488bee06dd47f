"""Which of several figures is told, against figures written by hand: the one that errs towards less oxygen."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.case.delivery import WEEKDAYS
from companion.reckoning import choices
from companion.reckoning.choices import CylinderRow
from companion.reckoning.plan import Plan, plan
from tests.cases import LEFT_OUT, UNEVEN, a_case, only_cylinder, reservoir

QUARTER, HALF, FULL = Fraction(1, 4), Fraction(1, 2), Fraction(1)
HOME = plan(a_case(UNEVEN))


def uneven(**changes: object) -> Plan:
    """Return the plan of the uneven home with some fields changed, ``__`` for the dot of a path."""
    return plan(a_case(UNEVEN | {name.replace("__", "."): value for name, value in changes.items()}))


# Deliveries on every day but a holiday, so that the longest wait is two days, and not three.
DAILY = uneven(clinic__delivery={"lead_days": 0, "closed_days": 2, "weekdays": list(WEEKDAYS)})


@pytest.mark.parametrize(
    ("home", "minutes"),
    [
        # 12 h 30 from a quarter and 7 h 40 of three cylinders: 20 h 10, in half hours 20 h
        ({}, 20 * 60),
        ({"cylinder": LEFT_OUT}, 750),
        # 12 h 30 and the 2 days of fifteen cylinders are 60 h 30: told as 2 days 12 hours
        ({"cylinder[1].count": 15}, 60 * 60),
        # an error of a whole division leaves nothing at the lowest mark
        ({"clinic.policy": {"reading_error_divisions": "1"}, "cylinder": LEFT_OUT}, 0),
        # of two reservoirs the other may hold more
        (UNEVEN, 0),
    ],
)
def test_from_the_low_mark_the_reservoir_and_then_the_cylinders(home: dict[str, object], minutes: int) -> None:
    made = plan(a_case(home))
    assert choices.low_time(made.supply, made.backup_min) == minutes


# ── of a time by gauge reading ──────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("reading", "minutes"),
    [
        (FULL, 50),
        (Fraction(9, 10), 40),  # between full and four fifths: the lower mark
        (Fraction(4, 5), 40),
        (HALF, 20),
        (Fraction(1, 5), 0),  # below the lowest mark nothing is promised
    ],
)
def test_between_two_marks_the_lower_one_counts(reading: Fraction, minutes: int) -> None:
    assert choices.at_reading({FULL: 50, Fraction(4, 5): 40, Fraction(2, 5): 20}, reading) == minutes


def test_of_several_tables_the_shortest_time_holds_for_each() -> None:
    tables = [{FULL: 50, HALF: 30}, {FULL: 60, HALF: 10}]
    assert choices.shortest_at(tables, FULL) == 50
    assert choices.shortest_at(tables, HALF) == 10
    assert choices.shortest_at(tables, Fraction(3, 4)) == 10


@given(
    st.dictionaries(st.fractions(0, 1), st.integers(0, 9999), min_size=1),
    st.fractions(0, 1),
)
def test_a_time_at_a_reading_is_never_that_of_a_higher_mark(times: dict[Fraction, int], reading: Fraction) -> None:
    told = choices.at_reading(times, reading)
    below = {mark: minutes for mark, minutes in times.items() if mark <= reading}
    assert told == (below[max(below)] if below else 0)


@pytest.mark.parametrize(
    ("divisions", "rows"),
    [
        ((4, 4), (4, 4)),
        ((8, 4), (4, 4)),  # quarters are marks of a gauge in eighths as well
        ((8, 8), (4, 4)),  # eight rows do not fit the page
        ((4, 5), (4, 4)),
        ((10, 20), (5, 5)),
        ((3, 8), (3, 3)),
    ],
)
def test_rows_for_all_containers_together(divisions: tuple[int, int], rows: tuple[int, int]) -> None:
    stores = [
        replace(reservoir(), id=f"reservoir-{place}", divisions=parts) for place, parts in enumerate(divisions, start=1)
    ]
    count, parts = rows
    assert choices.shared_levels(stores) == tuple(Fraction(mark, parts) for mark in range(count, 0, -1))


@pytest.mark.parametrize(
    ("divisions", "mark"),
    [(4, Fraction(1, 2)), (8, Fraction(1, 2)), (5, Fraction(2, 5)), (3, Fraction(1, 3)), (2, Fraction(1, 2))],
)
def test_a_mark_near_one_half(divisions: int, mark: Fraction) -> None:
    levels = [Fraction(part, divisions) for part in range(divisions, 0, -1)]
    assert choices.mark_not_above(levels, HALF) == mark


def test_where_every_mark_is_above_the_lowest_is_taken() -> None:
    assert choices.mark_not_above([FULL, HALF], QUARTER) == HALF


# ── portables ───────────────────────────────────────────────────────────────────────────────────


def test_the_example_is_a_line_of_the_first_table() -> None:
    example = choices.example_trip(HOME.trips)
    assert example is not None
    assert (example.way_min, example.stay_min) == (30, 95)


def test_no_portable_no_example() -> None:
    bare = plan(a_case({"portable": []}))
    assert choices.example_trip(bare.trips) is None
    assert choices.empty_after_hours(bare.standing) is None


def test_the_portable_that_is_empty_first_tells_the_hour() -> None:
    assert [line.empty_after_hours for line in HOME.standing] == [38, 37]
    assert choices.empty_after_hours(HOME.standing) == 37


# ── reservoirs ──────────────────────────────────────────────────────────────────────────────────


def test_the_highest_call_mark_is_right_for_every_reservoir() -> None:
    assert [line.call_mark for line in DAILY.supply] == [Fraction(3, 4), Fraction(5, 8)]
    assert choices.call_mark(DAILY.supply) == Fraction(3, 4)


def test_where_one_reservoir_has_no_call_mark_there_is_none_for_the_home() -> None:
    supply = (DAILY.supply[0], replace(DAILY.supply[1], call_mark=None))
    assert choices.call_mark(supply) is None


def test_the_reservoir_that_is_empty_first_tells_when_to_call() -> None:
    assert [line.days_between for line in HOME.supply] == [5, 6]
    assert choices.days_between(HOME.supply) == 5
    assert [line.days_to_call for line in HOME.supply] == [2, 3]
    assert choices.days_to_call(HOME.supply, None) == 2


def test_a_date_puts_off_no_call_that_a_gauge_asks_for() -> None:
    # A day takes at most 1/7.20 of the first reservoir, 1/7.86 of the second: a quarter is gone on the second morning,
    # a half on the fourth.
    assert [line.mornings_to(Fraction(3, 4)) for line in HOME.supply] == [2, 2]
    assert [line.mornings_to(HALF) for line in HOME.supply] == [4, 4]
    assert [line.days_to_call for line in DAILY.supply] == [3, 4]
    assert choices.days_to_call(DAILY.supply, Fraction(3, 4)) == 2
    assert choices.days_to_call(DAILY.supply, HALF) == 3


def test_below_a_mark_the_next_lower_one_of_each_gauge_counts() -> None:
    quarters, eighths = (line.days_from for line in HOME.supply)
    assert quarters[HALF] < eighths[HALF] < eighths[Fraction(5, 8)]
    assert choices.days_below(HOME.supply, Fraction(5, 8)) == quarters[HALF]
    assert choices.days_below(HOME.supply, Fraction(3, 4)) == quarters[HALF]
    assert choices.days_below(HOME.supply[1:], Fraction(3, 4)) == eighths[Fraction(5, 8)]
    assert choices.days_below(HOME.supply, QUARTER) == 0


def test_the_weaker_reservoir_tells_what_a_full_one_gives() -> None:
    assert [line.safe_min[FULL] for line in HOME.supply] == [8640, 10080]
    assert choices.full_time(HOME.supply) == 8640


@pytest.mark.parametrize(
    ("divisions", "mark"),
    [
        # the lowest mark that is not below a quarter of full
        (4, QUARTER),
        (8, QUARTER),
        (20, Fraction(2, 5)),  # of the fifths that are printed
        (5, Fraction(2, 5)),
        (3, Fraction(1, 3)),
        (2, HALF),
    ],
)
def test_low_on_any_gauge(divisions: int, mark: Fraction) -> None:
    home = uneven(**{"reservoir[2]__gauge": {"kind": "float", "divisions": divisions}})
    assert choices.low_mark(home.supply) == mark


# ── cylinders ───────────────────────────────────────────────────────────────────────────────────


def test_the_activity_that_uses_most_tells_the_back_up() -> None:
    # Walking, cylinders of 660 min and of 125 min when their pulses stop: 3 × 660 + 2 × 125, to half hours
    assert HOME.backup_min == {"rest": 4320, "exertion": 2220, "sleep": 5760}
    assert choices.backup_min(HOME.backup_min) == 2220
    assert choices.backup_min({}) is None


def test_the_notice_of_a_short_back_up_is_of_that_activity() -> None:
    notice = next(notice for notice in HOME.notices if notice.code == "backup short")
    assert dict(notice.values) == {"minutes": 2220, "hours": 90}


def test_cylinders_for_the_wait_in_the_activity_that_uses_most() -> None:
    full = {
        (window.container, window.demand.activity): window.safe_min
        for window in HOME.windows
        if window.kind == "cylinder" and window.level == 1
    }
    assert full == {
        ("cylinder-1", "rest"): 1530,
        ("cylinder-1", "exertion"): 660,
        ("cylinder-1", "sleep"): 1830,
        ("cylinder-2", "rest"): 840,
        ("cylinder-2", "exertion"): 405,
        ("cylinder-2", "sleep"): 355,  # steady flow asleep uses more than pulses on a walk
    }
    # 3 days are 4,320 min: 6.5 of 660 min, 12.2 of 355 min.
    assert choices.cylinders_to_bridge(HOME.windows, 3 * 1440) == {"cylinder-1": 7, "cylinder-2": 13}


def test_one_full_cylinder_of_any_kind_in_any_activity() -> None:
    assert choices.one_cylinder_min(HOME.windows) == 355
    assert choices.one_cylinder_min(plan(a_case({"cylinder": []})).windows) == 0


def test_the_cylinder_to_take_first_lasts_longest_where_it_is_used_hardest() -> None:
    first = choices.cylinder_to_take_first(HOME.stores, HOME.windows)
    assert first is not None
    assert first.id == "cylinder-1"  # 660 min walking; the other 355 min asleep
    one_kind = plan(a_case())
    assert choices.cylinder_to_take_first(one_kind.stores, one_kind.windows) is None


def test_a_kind_that_gives_no_certain_time_bridges_nothing() -> None:
    home = uneven(
        **{
            "prescription__sleep__flow": "6 L/min",
            "cylinder[2]__water_volume": "0.4 L",
            "cylinder[2]__reserve": "60 bar",
        }
    )
    assert home.window("cylinder-2", FULL, "sleep").safe_min == 0
    assert set(choices.cylinders_to_bridge(home.windows, 3 * 1440)) == {"cylinder-1"}


@pytest.mark.parametrize(
    ("full", "division", "readings"),
    [
        # each a mark of the gauge, at or above 3/4, 1/2 and 1/4 of full
        ("2000 psi", "100 psi", (2000, 1500, 1000, 500)),
        ("2200 psi", "100 psi", (2200, 1700, 1100, 600)),
        ("137 bar", "10 bar", (137, 110, 70, 40)),
        ("13.8 MPa", "1 MPa", (13.8, 11, 7, 4)),
        ("200 bar", "50 bar", (200, 150, 100, 50)),
        ("2200 psi", "1000 psi", (2200, 2000, 1000)),  # no two rows for one mark
    ],
)
def test_a_cylinder_is_read_at_marks_that_its_gauge_has(full: str, division: str, readings: tuple[float, ...]) -> None:
    store = only_cylinder(content="600 L", full_pressure=full, gauge_division=division, reserve=division)
    rows = choices.cylinder_rows(store)
    assert tuple(float(row.reading) for row in rows) == readings
    for row in rows:
        assert Fraction(row.reading) >= row.level * Fraction(store.full_reading)


def test_a_mark_that_stands_for_two_levels_gives_the_longer_time_that_it_holds() -> None:
    store = only_cylinder(content="600 L", full_pressure="2200 psi", gauge_division="1000 psi")
    assert choices.cylinder_rows(store)[1:] == (
        CylinderRow(Fraction(3, 4), Decimal(2000)),
        CylinderRow(QUARTER, Decimal(1000)),
    )
