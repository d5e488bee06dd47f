"""Trips: known answers, and a reader who follows the printed table through trips of every kind and never runs dry.

The reader sees nothing but the cells of the table. What happens to the oxygen meanwhile is walked minute by minute,
apart from the program.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import cycle, islice
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.case import Case
from companion.case.equipment import Portable
from companion.case.prescription import Activity
from companion.case.read import case_from_dict
from companion.guide import trip_tables
from companion.guide.tables import Table
from companion.language.locale import Locale
from companion.reckoning.margins import Margins
from companion.reckoning.outing import DOINGS, Stretch, outing, portable_numbered
from companion.reckoning.plan import plan
from companion.reckoning.since_filled import since_filled
from companion.reckoning.trips import WAYS_MIN, trips
from tests.cases import PULSE, UNEVEN, UNLIKE_FLOWS, a_case, case_dict, meant, valid_cases
from tests.few import FEW
from tests.reckoning.test_outing import PLAIN, a_store
from tests.reckoning.walk import containers, full_liquid_litres, loss_l_min, worst_litres

ENGLISH = Locale("en", "US")

# ── known answers ───────────────────────────────────────────────────────────────────────────────

TOO_FAR = (None, None, None)


@pytest.mark.parametrize(
    ("changes", "litres", "conserver", "rows", "walk_min"),
    [
        # At the worst of one quarter 125 L less the reserve, 30 min × 2 L/min: 32.5 min home; of one half 157.5 min.
        # From full to one quarter 750 L less 30 L for a way of 15 min: 360 min; to one half 500 − 90 L: 205 min.
        # Out and back on 875 − 60 L: 203.75 min.
        pytest.param(
            {},
            1000,
            False,
            [
                (360, 360, Fraction(1, 4)),
                (345, 345, Fraction(1, 4)),
                (205, 205, Fraction(1, 2)),
                (190, 190, Fraction(1, 2)),
                (160, 160, Fraction(1, 2)),
            ],
            200,
            id="2 L/min at all times",
        ),
        # Walking 3 L/min: one quarter gives 125 − 90 = 35 L, 11 min home; one half 285 L, 95 min. From full to one
        # half 500 L less 45 L for a way of 15 min: 455 L are 227.5 min at rest, 151.7 min walking.
        pytest.param(
            UNLIKE_FLOWS,
            1000,
            False,
            [
                (225, 150, Fraction(1, 2)),
                (205, 135, Fraction(1, 2)),
                (180, 120, Fraction(1, 2)),
                (160, 105, Fraction(1, 2)),
                (115, 75, Fraction(1, 2)),
            ],
            130,
            id="walking uses most",
        ),
        # 262.5 L − 90 = 172.5 L: 28.75 min out and back. At three quarters 187.5 − 90 L are 32.5 min. From full to
        # there 75 L less 45 L for the way: 30 L are 15 min at rest, 10 min walking.
        pytest.param(
            UNLIKE_FLOWS,
            300,
            False,
            [(15, 10, Fraction(3, 4)), TOO_FAR, TOO_FAR, TOO_FAR, TOO_FAR],
            25,
            id="too far, not by the gauge but by the way",
        ),
        # 306.25 L − 90 = 216.25 L: 36 min out and back. At three quarters 218.75 − 90 L: 42.9 min. But from full to
        # there 87.5 L are less than the 90 L of a way of 30 min. For 15 min they leave 42.5 L: 21.25 min, 14.2 min.
        pytest.param(
            UNLIKE_FLOWS,
            350,
            False,
            [(20, 10, Fraction(3, 4)), TOO_FAR, TOO_FAR, TOO_FAR, TOO_FAR],
            35,
            id="the mark is reached on the way there",
        ),
        # 175 L − 90 = 85 L: 14.2 min out and back, too little for the first line
        pytest.param(UNLIKE_FLOWS, 200, False, [TOO_FAR] * 5, 10, id="every line is too far"),
        # 105 L − 60 = 45 L: 11.25 min out and back, rounded down to 10
        pytest.param({"prescription.rest.flow": "1 L/min"}, 120, False, [TOO_FAR] * 5, 10, id="less than a quarter"),
        # 122.5 L − 60 = 62.5 L: 60 L for the way, 2.5 L for the stay. Three quarters, 87.5 L, cover 13.75 min.
        pytest.param(
            {}, 140, False, [(0, 0, None), TOO_FAR, TOO_FAR, TOO_FAR, TOO_FAR], 15, id="no mark covers the way"
        ),
        # Rest 0.456 L/min on pulses (20 × 22.8 mL), 2 L/min steady; walking 2 L/min. The way home and the reserve are
        # at 2 L/min, as above; the stay at rest is at 0.5 L/min, the boil-off, which is more than the pulses: the 720 L
        # from full to one quarter, less the way of 15 min, are 1,440 min.
        pytest.param(
            PULSE,
            1000,
            True,
            [
                (1440, 360, Fraction(1, 4)),
                (1380, 345, Fraction(1, 4)),
                (810, 205, Fraction(1, 2)),
                (750, 190, Fraction(1, 2)),
                (640, 160, Fraction(1, 2)),
            ],
            200,
            id="pulses at rest",
        ),
        # Only rest is ordered, on pulses: the way there at 0.5 L/min, the way home at 2 L/min, if pulses fail.
        pytest.param(
            PULSE
            | {
                "prescription.exertion": None,
                "prescription.sleep": None,
                "prescription.rest.hours_per_day": "24 h",
            },
            1000,
            True,
            # 750 − 15 × 0.5 = 742.5 L: 1,485 min; from full to one half 500 − 22.5 L: 955 min
            [
                (1470, 1470, Fraction(1, 4)),
                (1470, 1470, Fraction(1, 4)),
                (930, 930, Fraction(1, 2)),
                (930, 930, Fraction(1, 2)),
                (900, 900, Fraction(1, 2)),
            ],
            325,
            id="pulses at all times",
        ),
        pytest.param(
            {"prescription.rest": None, "prescription.exertion.hours_per_day": "16 h"},
            1000,
            False,
            [
                (None, 360, Fraction(1, 4)),
                (None, 345, Fraction(1, 4)),
                (None, 205, Fraction(1, 2)),
                (None, 190, Fraction(1, 2)),
                (None, 160, Fraction(1, 2)),
            ],
            200,
            id="nothing is ordered at rest",
        ),
    ],
)
def test_known_answers(
    changes: dict[str, Any],
    litres: float,
    conserver: bool,
    rows: list[tuple[int | None, int | None, Fraction | None]],
    walk_min: int,
) -> None:
    found = trips(a_case(changes), a_store(litres, conserver=conserver), PLAIN)
    assert [trip.way_min for trip in found.trips] == list(WAYS_MIN) == [15, 30, 45, 60, 90]
    assert [(trip.resting_stay_min, trip.stay_min, trip.home_mark) for trip in found.trips] == rows
    assert found.walk_min == walk_min


def test_margins_shorten_the_stay() -> None:
    # One half, less a whole division of a gauge in quarters: 250 L. 20 % more flow: 2.4 L/min, an hour of reserve.
    # 250 − 144 = 106 L: 44 min home. From full to one half 500 − 15 × 2.4 = 464 L: 193.3 min
    margins = Margins(flow_tolerance=0.2, reading_error_divisions=1, portable_reserve_min=60)
    assert trips(a_case(), a_store(1000), margins).trips[0].stay_min == 190


@pytest.mark.parametrize(
    ("start", "rows"),
    [
        # From three quarters down to one quarter 500 L less 30 L for a way of 15 min: 235 min; to one half 250 L less
        # 90 L: 80 min.
        (Fraction(3, 4), [(235, Fraction(1, 4)), (220, Fraction(1, 4)), (80, Fraction(1, 2))]),
        # One quarter covers 32.5 min home. From one half 250 L less 30, less 60 L; for 45 min nothing below covers it:
        # 375 − 60 − 45 × 4 = 135 L: 67.5 min.
        (Fraction(1, 2), [(110, Fraction(1, 4)), (95, Fraction(1, 4)), (65, None)]),
        # 125 − 60 = 65 L are 16.25 min there and back: after 15 min one turns back at once.
        (Fraction(1, 4), [(0, None), (None, None), (None, None)]),
    ],
)
def test_from_a_portable_that_is_no_longer_full(
    start: Fraction, rows: list[tuple[int | None, Fraction | None]]
) -> None:
    found = trips(a_case(), a_store(1000), PLAIN, start)
    assert [(trip.stay_min, trip.home_mark) for trip in found.trips[:3]] == rows


@pytest.mark.parametrize(
    ("after_min", "left_min", "as_if"),
    [
        # At the worst of full 875 L less 60 L of reserve; 2 L/min since it was filled. Three quarters gives 565 L.
        (0, 405, Fraction(1)),
        (15, 390, Fraction(3, 4)),
        (120, 285, Fraction(3, 4)),
        (135, 270, Fraction(1, 2)),  # 545 L are less than three quarters may promise
        (360, 45, Fraction(1, 4)),
    ],
)
def test_since_it_was_filled(after_min: int, left_min: int, as_if: Fraction) -> None:
    rows = {row.after_min: row for row in since_filled(a_case(), a_store(1000), PLAIN)}
    assert (rows[after_min].left_min["rest"], rows[after_min].as_if) == (left_min, as_if)
    # One quarter gives 65 L: below that there is no reading, and no time.
    assert max(rows) == 375


# ── what is printed ─────────────────────────────────────────────────────────────────────────────


def printed(case: Case) -> list[list[str]]:
    """Return the lines of each table, heads and cells with a stroke between them."""
    return [
        [
            " | ".join(str(text) for text in (table.corner, *(column.head for column in table.columns))),
            *(" | ".join(str(text) for text in (row.head, *row.cells)) for row in table.rows),
        ]
        for table in trip_tables.trips(plan(case), ENGLISH)
    ]


def test_a_table_says_what_is_too_far() -> None:
    # 6 L/min walking, and three quarters is the mark for the way home. A full portable of 1.2 L has a quarter above
    # that, some 250 L: enough for half an hour on the way out (180 L), not for three quarters (270 L).
    (lines,) = printed(a_case({"prescription.exertion.flow": "6 L/min", "prescription.sleep": None} | AWAKE))
    assert lines[0] == "One way takes | Stay at most, only sitting | Stay at most, also walking | Start for home at"
    assert lines[-1] == "45 minutes or more | Too far: do not go | Too far: do not go | Too far: do not go"


AWAKE: dict[str, Any] = {"prescription.rest.hours_per_day": "21 h"}


@pytest.mark.parametrize(
    ("changes", "heads"),
    [
        ({}, ["Stay at most"]),
        (
            UNLIKE_FLOWS,
            ["Stay at most, only sitting", "Stay at most, also walking"],
        ),  # no sleep is ordered on a portable
        (
            UNLIKE_FLOWS | {"prescription.sleep.on_portable": "2 h"},
            ["Stay at most, only sitting", "Stay at most, also walking or sleeping"],
        ),
        (
            {
                "prescription.exertion": None,
                "prescription.rest.hours_per_day": "16 h",
                "prescription.sleep.flow": "3 L/min",
            },
            ["Stay at most, only sitting", "Stay at most, also sleeping"],
        ),
        ({"prescription.rest.flow": "4 L/min"}, ["Stay at most"]),  # what is ordered at rest is the highest
        (
            {"prescription.rest": None, "prescription.exertion.hours_per_day": "16 h"}
            | {"prescription.sleep.flow": "1 L/min"},
            ["Stay at most"],
        ),
    ],
)
def test_a_column_stands_for_what_differs(changes: dict[str, Any], heads: list[str]) -> None:
    (lines,) = printed(a_case(changes))
    assert lines[0] == " | ".join(["One way takes", *heads, "Start for home at"])


def test_each_portable_has_a_table_of_its_own() -> None:
    captions = [str(table.caption) for table in trip_tables.trips(plan(a_case(UNEVEN)), ENGLISH)]
    assert captions == [
        "Portable (Blue bag), just filled: how long you may stay",
        "Portable (Red trolley), just filled: how long you may stay",
    ]


# ── the reader ──────────────────────────────────────────────────────────────────────────────────

Pattern = list[tuple[float, int]]
"""Activities in turn, each as a place among those that are ordered, and the minutes of each; begun again at the end."""


@dataclass(frozen=True)
class Line:
    """One line of a printed table, as a reader understands it."""

    way_min: int
    only_sit_min: int | None
    also_min: int | None
    mark: Fraction | None


MARKS = {
    "one eighth": Fraction(1, 8),
    "one quarter": Fraction(1, 4),
    "three eighths": Fraction(3, 8),
    "one half": Fraction(1, 2),
    "five eighths": Fraction(5, 8),
    "three quarters": Fraction(3, 4),
    "seven eighths": Fraction(7, 8),
    "Go by the clock": None,
    "Too far: do not go": None,
}


def mark_read(cell: str) -> Fraction | None:
    """Read a mark of a gauge from a cell."""
    parts = re.fullmatch(r"(\d+) of (\d+) parts", cell)
    return Fraction(int(parts[1]), int(parts[2])) if parts else MARKS[cell]


def minutes_read(cell: str) -> int | None:
    """Read a time from a cell; None where the cell says that it is too far."""
    if cell == "Too far: do not go":
        return None
    if cell == "Turn back at once":
        return 0
    parts = re.findall(r"(\d+) (minute|hour|day)", cell)
    assert parts, cell
    return sum(int(count) * {"minute": 1, "hour": 60, "day": 1440}[unit] for count, unit in parts)


def lines_read(table: Table) -> list[Line]:
    """Read a table by its words alone."""
    lines = []
    for row in table.rows:
        way, *stays, mark = (str(text) for text in (row.head, *row.cells))
        also = minutes_read(stays[-1])
        way_min = minutes_read(way)
        assert way_min is not None
        lines.append(Line(way_min, minutes_read(stays[0]), also, mark_read(mark)))
    return lines


@dataclass(frozen=True)
class Journey:
    """A trip as it comes about."""

    there_min: int
    back_min: int
    there: Pattern
    staying: Pattern
    back: Pattern
    only_sits: bool
    fails_after: float
    """When the pulses stop: as a share of the time until the reader starts for home; over 1: never."""


patterns = st.lists(st.tuples(st.sampled_from((0.0, 0.4, 0.9)), st.integers(1, 90)), min_size=1, max_size=3)
ways = st.one_of(st.sampled_from(WAYS_MIN), st.integers(1, 90))
journeys = st.builds(
    Journey,
    there_min=ways,
    back_min=ways,
    there=patterns,
    staying=patterns,
    back=patterns,
    only_sits=st.booleans(),
    fails_after=st.one_of(st.sampled_from((1.0, 2.0)), st.floats(0, 1)),
)


@st.composite
def homes(draw: st.DrawFn) -> dict[str, Any]:
    """Draw a valid case with a portable, with flows and margins under which trips are possible."""
    raw = draw(valid_cases().filter(lambda raw: bool(raw["portable"])))
    for activity in ("rest", "exertion", "sleep"):
        if activity in raw["prescription"]:
            raw["prescription"][activity]["flow"] = draw(
                st.sampled_from(("0.125 L/min", "0.5 L/min", "1 L/min", "2 L/min", "3.5 L/min", "6 L/min"))
            )
    raw["clinic"]["policy"] |= {
        "flow_tolerance_percent": draw(st.integers(0, 25)),
        "reading_error_divisions": draw(st.sampled_from((0, 0.5, 1))),
        "portable_reserve": f"{draw(st.integers(0, 60))} min",
    }
    return meant(raw)


EXAMPLES = st.sampled_from([meant(case_dict(changes)) for changes in (UNEVEN, UNLIKE_FLOWS, PULSE)])


def minute_by_minute(pattern: Pattern, ordered: Sequence[Activity], minutes: int) -> list[Activity]:
    """Return what is done in each of so many minutes."""
    turns = [ordered[int(place * len(ordered))] for place, count in pattern for _ in range(count)]
    return list(islice(cycle(turns), minutes))


def litres_at_home(case: Case, item: Portable, going: list[Activity], home: list[Activity], fails_at: float) -> float:
    """Walk from a portable that showed full at the worst of its gauge; return what is in it after the last minute [L].

    Args:
        case: the case.
        item: the portable.
        going: what is done in each minute until the patient starts for home.
        home: the same on the way home.
        fails_at: the minute from which a conserver gives no pulses any more.
    """
    orders = case.prescription.orders()
    pulses = {activity: loss_l_min(case, item, order) for activity, order in orders.items()}
    steady = {
        activity: loss_l_min(case, item, order.model_copy(update={"pulse_setting": None}))
        for activity, order in orders.items()
    }
    litres = worst_litres(case, item, Fraction(1))
    for minute, activity in enumerate([*going, *home]):
        litres -= (steady if minute >= fails_at else pulses)[activity]
    return litres


def stay_by_the_table(lines: list[Line], journey: Journey) -> int | None:
    """Return how long the reader stays: the line of the longer way, the column of what they do there [min].

    The last line stands for every longer way, which only a line that says "or more: too far" can meet here.
    """
    line = next((line for line in lines if line.way_min >= max(journey.there_min, journey.back_min)), lines[-1])
    return line.only_sit_min if journey.only_sits else line.also_min


@FEW
@given(st.one_of(homes(), EXAMPLES), st.lists(journeys, min_size=20, max_size=20))
def test_whoever_follows_the_table_comes_home_with_oxygen(raw: dict[str, Any], several: list[Journey]) -> None:
    case = case_from_dict(raw, "the test")
    ordered = list(case.prescription.orders())
    known = containers(case)
    reserve = int(case.clinic.policy.portable_reserve.to("time"))
    whole = plan(case)
    for line, table in zip(whole.trips, trip_tables.trips(whole, ENGLISH), strict=True):
        item = known[line.container]
        assert isinstance(item, Portable)
        lines = lines_read(table)
        for journey in several:
            stay_min = stay_by_the_table(lines, journey)
            if stay_min is None or (journey.only_sits and "rest" not in ordered):
                continue
            there = minute_by_minute(journey.there, ordered, journey.there_min)
            doing = ["rest"] if journey.only_sits else ordered
            going = [*there, *minute_by_minute(journey.staying, doing, stay_min)]  # type: ignore[arg-type]
            fails_at = journey.fails_after * len(going)
            # When pulses stop, the reader starts for home: back along the way so far, or from where they stay.
            going = going[: max(1, int(fails_at))]
            back_min = len(going) if len(going) < len(there) else journey.back_min
            # The reserve is there for a delay.
            home = minute_by_minute(journey.back, ordered, back_min + reserve)
            assert litres_at_home(case, item, going, home, fails_at) > -1e-6, journey


@FEW
@given(st.one_of(homes(), EXAMPLES), patterns)
def test_the_mark_of_a_line_covers_its_way_home(raw: dict[str, Any], pattern: Pattern) -> None:
    case = case_from_dict(raw, "the test")
    ordered = list(case.prescription.orders())
    known = containers(case)
    reserve = int(case.clinic.policy.portable_reserve.to("time"))
    whole = plan(case)
    for line, table in zip(whole.trips, trip_tables.trips(whole, ENGLISH), strict=True):
        item = known[line.container]
        assert isinstance(item, Portable)
        for read in lines_read(table):
            if read.mark is not None:
                gone = worst_litres(case, item, Fraction(1)) - worst_litres(case, item, read.mark)
                for fails_at in (0, 10**6):
                    home = minute_by_minute(pattern, ordered, read.way_min + reserve)
                    assert litres_at_home(case, item, [], home, fails_at) - gone > -1e-6


@FEW
@given(st.one_of(homes(), EXAMPLES))
def test_the_gauge_is_not_below_the_mark_when_the_stay_is_over(raw: dict[str, Any]) -> None:
    case = case_from_dict(raw, "the test")
    orders = case.prescription.orders()
    known = containers(case)
    whole = plan(case)
    for line, table in zip(whole.trips, trip_tables.trips(whole, ENGLISH), strict=True):
        item = known[line.container]
        assert isinstance(item, Portable)
        losses = {activity: loss_l_min(case, item, order) for activity, order in orders.items()}
        most = max(losses.values())
        for read in lines_read(table):
            if read.mark is not None:
                assert read.also_min is not None
                assert read.only_sit_min is not None
                for used in (
                    (read.way_min + read.also_min) * most,
                    read.way_min * most + read.only_sit_min * losses.get("rest", most),
                ):
                    assert 1 - used / full_liquid_litres(item) >= read.mark


@FEW
@given(st.one_of(homes(), EXAMPLES), patterns, st.booleans())
def test_whoever_turns_back_on_a_walk_comes_home(raw: dict[str, Any], pattern: Pattern, fails: bool) -> None:
    case = case_from_dict(raw, "the test")
    ordered = list(case.prescription.orders())
    known = containers(case)
    reserve = int(case.clinic.policy.portable_reserve.to("time"))
    for line in plan(case).trips:
        item = known[line.container]
        assert isinstance(item, Portable)
        if line.walk_min:
            out = minute_by_minute(pattern, ordered, line.walk_min)
            home = minute_by_minute(pattern, ordered, line.walk_min + reserve)
            assert litres_at_home(case, item, out, home, line.walk_min if fails else 10**6) > -1e-6


ON_THE_WAY: dict[Activity, str] = {"rest": "travel", "exertion": "walk"}
WHERE_ONE_STAYS: dict[Activity, str] = {"rest": "sit", "exertion": "stroll", "sleep": "sleep"}


@FEW
@given(st.one_of(homes(), EXAMPLES), st.lists(journeys, min_size=5, max_size=5))
def test_an_outing_that_the_table_allows_is_allowed_by_the_command(raw: dict[str, Any], several: list[Journey]) -> None:
    case = case_from_dict(raw, "the test")
    ordered = case.prescription.orders()
    moving = [ON_THE_WAY[activity] for activity in ordered if activity in ON_THE_WAY]
    whole = plan(case)
    for number, table in enumerate(trip_tables.trips(whole, ENGLISH), start=1):
        portable = portable_numbered(whole.stores, number)
        lines = lines_read(table)
        for journey in several:
            stay_min = stay_by_the_table(lines, journey)
            if stay_min is None or not moving or (journey.only_sits and "rest" not in ordered):
                continue
            staying = ["sit"] if journey.only_sits else [WHERE_ONE_STAYS[activity] for activity in ordered]
            (place, _), (other, _) = journey.there[0], journey.staying[0]
            way = DOINGS[moving[int(place * len(moving))]]
            stay = [Stretch(DOINGS[staying[int(other * len(staying))]], stay_min)] if stay_min else []
            stretches = [Stretch(way, journey.there_min), *stay, Stretch(way, journey.back_min)]
            assert outing(case, portable, Fraction(1), stretches, whole.margins).enough


@FEW
@given(st.one_of(homes(), EXAMPLES))
def test_an_outing_lasts_that_a_trip_from_any_reading_allows(raw: dict[str, Any]) -> None:
    case = case_from_dict(raw, "the test")
    made, ordered = plan(case), case.prescription.orders()
    portable = portable_numbered(made.stores, 1)
    for start in portable.levels:
        for trip in trips(case, portable, made.margins, start).trips:
            for going, staying in (("walk", "stroll"), ("walk", "sit"), ("travel", "sit"), ("travel", "sleep")):
                doings = (DOINGS[going], DOINGS[staying])
                if trip.stay_min and all(doing.activity in ordered for doing in doings):
                    way, stay = (
                        Stretch(doing, time) for doing, time in zip(doings, (trip.way_min, trip.stay_min), strict=True)
                    )
                    assert outing(case, portable, start, [way, stay, way], made.margins).enough, (start, trip)
