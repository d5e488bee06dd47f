"""Outings: the same figures as the duration table, and a way back that holds."""

import json
import math
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from companion.case import read_case
from companion.case.prescription import Activity
from companion.cli import main
from companion.facts import oxygen
from companion.reckoning.containers import LEVELS, LiquidStore
from companion.reckoning.duration import round_down
from companion.reckoning.margins import Margins
from companion.reckoning.outing import DOINGS, OutingError, Stretch, outing, portable_numbered, read_level, read_stretch
from companion.reckoning.plan import plan
from tests.cases import PULSE, UNLIKE_FLOWS, a_case
from tests.tools import ROOT

CASE_FILE = ROOT / "examples" / "harbour-lane.toml"
CASE = read_case(CASE_FILE)  # 2 L/min in every activity
PLAN = plan(CASE)
PORTABLE = portable_numbered(PLAN.stores, 1)


def stretch(word: str, minutes: int) -> Stretch:
    """Return a stretch by the word that a person says."""
    return Stretch(DOINGS[word], minutes)


def a_store(litres: float, *, conserver: bool = False) -> LiquidStore:
    """Return a portable of so many litres of gas when full.

    With an economiser, a gauge in quarters and 0.5 L/min of boil-off: a flow above that is all that it loses in use.
    """
    return LiquidStore(
        id="portable-1",
        kind="portable",
        full_kg=litres / oxygen.GAS_LITRES_PER_KG,
        most_kg=litres / oxygen.GAS_LITRES_PER_KG,
        vapour_share=0.0,
        flash_share=0.0,
        boil_off_l_min=0.5,
        economiser=True,
        divisions=4,
        gauge="float",
        conserver=conserver,
        name=None,
    )


ROUND = a_store(1000)  # 875 L at the worst reading of full
PLAIN = Margins(flow_tolerance=0.0, reading_error_divisions=0.5, portable_reserve_min=30)


@pytest.mark.parametrize("level", LEVELS[:3])
@pytest.mark.parametrize(("word", "activity"), [("sit", "rest"), ("walk", "exertion"), ("sleep", "sleep")])
def test_one_stretch_lasts_as_long_as_the_table_before_rounding(word: str, activity: Activity, level: Fraction) -> None:
    window = PLAN.window("portable-1", level, activity)
    unrounded = int(window.safe_min + window.deductions[-1].minutes)
    assert outing(CASE, PORTABLE, level, [stretch(word, unrounded)], PLAN.margins).lasts
    assert not outing(CASE, PORTABLE, level, [stretch(word, unrounded + 1)], PLAN.margins).lasts


@pytest.mark.parametrize(
    ("level", "stretches", "lasts", "left_min", "turn_back", "fills"),
    [
        # (875 L − 30 min × 2 L/min) ÷ 2 L/min = 407.5 min in all; half of it is 203.75 min
        pytest.param(1, [("walk", 100)], True, 305, 100, 1, id="307.5 min left, turn back at the end"),
        pytest.param(1, [("walk", 4)], True, 400, 4, 1, id="a short walk is not rounded to nothing"),
        pytest.param(1, [("walk", 407)], True, 0, 200, 1, id="0.5 min left"),
        pytest.param(1, [("walk", 408)], False, 0, 200, 2, id="half a minute short"),
        # The second waited 407.5 min and lost 203.75 L of its 815: it gives 305.6 min.
        pytest.param(1, [("walk", 713)], False, 0, 200, 2, id="two, of which the second waited"),
        # The third waited 713.1 min and lost 356.6 L: 229.2 min
        pytest.param(1, [("walk", 714)], False, 0, 200, 3, id="a third"),
        pytest.param(1, [("walk", 942)], False, 0, 200, 3, id="all of the third"),
        pytest.param(1, [("walk", 943)], False, 0, 200, 4, id="a fourth"),
        # All that wait are empty after 1,630 min, less and less is won by each: 815 L ÷ 0.5 L/min.
        pytest.param(1, [("walk", 1440), ("walk", 300)], False, 0, 200, None, id="no number of portables"),
        # 500 L − 125 L = 375 L; less 60 L for the reserve: 157.5 min
        pytest.param(Fraction(1, 2), [("travel", 60), ("walk", 60)], True, 35, 75, 1, id="from one half"),
        # Only the way is gone back: 315 L − 60 × 2 × 2 leave 37.5 min to sit
        pytest.param(Fraction(1, 2), [("walk", 60), ("sit", 60)], True, 35, 95, 1, id="nobody sits on the way home"),
        # 250 L − 125 L = 125 L; less 60 L: 32.5 min, turn back by 16.25 min
        pytest.param(Fraction(1, 4), [("travel", 20)], True, 10, 15, 1, id="from one quarter"),
        pytest.param(Fraction(1, 4), [("sit", 32)], True, 0, 32, 1, id="sitting leads nowhere"),
    ],
)
def test_known_answers(
    level: Fraction,
    stretches: list[tuple[str, int]],
    lasts: bool,
    left_min: int,
    turn_back: int,
    fills: int | None,
) -> None:
    found = outing(CASE, ROUND, Fraction(level), [stretch(*words) for words in stretches], PLAIN)
    assert (found.lasts, found.left_min, found.turn_back_after_min, found.fills_needed) == (
        lasts,
        left_min,
        turn_back,
        fills,
    )
    assert (found.lasts_if_pulses_stop, found.left_steady_min) == (lasts, None)


UNLIKE = a_case(UNLIKE_FLOWS)  # 2 L/min at rest, 3 L/min walking, 1.5 L/min asleep


@pytest.mark.parametrize("words", ["walk", "sit", "sleep"])
def test_what_is_left_is_said_for_the_activity_that_uses_most(words: str) -> None:
    # 875 L − 30 min × 3 L/min for the reserve, although nobody walks on two of these outings
    found = outing(UNLIKE, ROUND, Fraction(1), [stretch(words, 60)], PLAIN)
    flow = {"walk": 3, "sit": 2, "sleep": 1.5}[words]
    assert (found.busiest, found.left_min) == ("exertion", round_down((785 - 60 * flow) / 3))


# At rest 40 mL × 20 breaths: 0.8 L/min on pulses, 2 L/min if they fail; walking 2 L/min, no pulses
PULSES = a_case(PULSE | {"conserver": {"bolus": {"2": "40 mL"}}})
SAVING = a_store(1000, conserver=True)


@pytest.mark.parametrize(
    ("stretches", "lasts", "if_pulses_stop", "left_steady_min", "turn_back"),
    [
        # 875 L − 30 min × 2 L/min = 815 L. Pulses fail in the middle, at 500 min: 400 L are used, 1,000 L needed.
        pytest.param([("travel", 1000)], True, False, 5, 290, id="pulses fail in the middle"),
        # After 291 min 233 L are used and 582 L needed: 815 L.
        pytest.param([("travel", 582)], True, True, 170, 290, id="pulses may fail in the middle"),
        # At the end of the visit 30 × 0.8 + 900 × 0.8 L are used; 60 L take you home.
        pytest.param([("travel", 30), ("sit", 900), ("travel", 30)], True, True, 20, 930, id="a visit"),
        # 24 + 736 + 60 L: 5 L too many for a failure at its end
        pytest.param([("travel", 30), ("sit", 920), ("travel", 30)], True, False, 15, 930, id="a longer visit"),
        pytest.param([("sit", 1019)], False, False, 0, 990, id="0.2 L too many on pulses alone"),
    ],
)
def test_pulses_that_fail(
    stretches: list[tuple[str, int]], lasts: bool, if_pulses_stop: bool, left_steady_min: int, turn_back: int
) -> None:
    found = outing(PULSES, SAVING, Fraction(1), [stretch(*words) for words in stretches], PLAIN)
    assert (found.lasts, found.lasts_if_pulses_stop, found.left_steady_min, found.turn_back_after_min) == (
        lasts,
        if_pulses_stop,
        left_steady_min,
        turn_back,
    )
    assert found.enough == (lasts and if_pulses_stop)


def test_no_number_of_fills_is_enough_where_the_reserve_is_all_that_it_holds() -> None:
    found = outing(CASE, a_store(60), Fraction(1), [stretch("sit", 1)], PLAIN)
    assert (found.lasts, found.turn_back_after_min, found.fills_needed) == (False, 0, None)


stretches_of_a_day = st.lists(
    st.builds(stretch, st.sampled_from(sorted(DOINGS)), st.integers(1, 240)),
    min_size=1,
    max_size=6,
)


@given(stretches_of_a_day, st.sampled_from(LEVELS))
def test_whoever_turns_back_in_time_gets_home(stretches: list[Stretch], level: Fraction) -> None:
    found = outing(CASE, PORTABLE, level, stretches, PLAN.margins)
    out, left = [], found.turn_back_after_min
    for part in stretches:
        if left > 0:
            out.append(Stretch(part.doing, min(left, part.minutes)))
            left -= part.minutes
    back = [part for part in reversed(out) if part.doing.on_the_way]
    if out:
        assert outing(CASE, PORTABLE, level, [*out, *back], PLAN.margins).lasts


@given(stretches_of_a_day, st.sampled_from(LEVELS), st.integers(1, 60))
def test_a_longer_outing_never_does_better(stretches: list[Stretch], level: Fraction, minutes: int) -> None:
    shorter = outing(CASE, PORTABLE, level, stretches, PLAN.margins)
    longer = outing(CASE, PORTABLE, level, [*stretches, Stretch(stretches[-1].doing, minutes)], PLAN.margins)
    assert shorter.lasts or not longer.lasts
    assert longer.left_min <= shorter.left_min
    assert (longer.fills_needed or math.inf) >= (shorter.fills_needed or math.inf)


@settings(max_examples=10)
@given(st.integers(1, 36))
def test_the_portables_that_are_said_to_be_needed_are_enough(hours: int) -> None:
    found = outing(CASE, ROUND, Fraction(1), [stretch("sit", 60)] * hours, PLAIN)
    if found.fills_needed is None:
        return
    litres = [875.0] * found.fills_needed
    for _ in range(60 * hours):
        # The reserve of 60 L stays in each; the minute in which it is touched counts as its last.
        used = next(place for place, content in enumerate(litres) if content > 60)
        litres = [content - (2 if place == used else 0.5) for place, content in enumerate(litres)]
    assert min(litres[used:]) > 0


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("walk 40 min", stretch("walk", 40)),
        ("sit 2 h", stretch("sit", 120)),
        ("  Travel  1.5 h ", stretch("travel", 90)),
        ("sleep 0.1 h", stretch("sleep", 6)),
        ("walk 12.2 min", stretch("walk", 13)),  # a part of a minute is a whole one
    ],
)
def test_reads_a_stretch(words: str, expected: Stretch) -> None:
    assert read_stretch(words) == expected


@pytest.mark.parametrize(
    "words", ["", "walk", "40 min", "fly 2 h", "walk 2", "walk 2 L/min", "walk 0 min", "walk 2 days"]
)
def test_refuses_what_is_no_stretch(words: str) -> None:
    with pytest.raises(OutingError):
        read_stretch(words)


def test_refuses_an_activity_for_which_nothing_is_ordered() -> None:
    awake = CASE.model_copy(update={"prescription": CASE.prescription.model_copy(update={"sleep": None})})
    with pytest.raises(OutingError, match="sleep"):
        outing(awake, PORTABLE, Fraction(1), [stretch("sleep", 5)], PLAIN)


@pytest.mark.parametrize(
    ("divisions", "text", "level"),
    [
        (4, "full", Fraction(1)),
        (4, "3/4", Fraction(3, 4)),
        (8, "3/8", Fraction(3, 8)),
        (8, "1/2", Fraction(1, 2)),
        (20, "17/20", Fraction(17, 20)),  # a mark of the gauge without a row in the table
    ],
)
def test_reads_a_mark(divisions: int, text: str, level: Fraction) -> None:
    assert read_level(text, replace(PORTABLE, divisions=divisions)) == level


@pytest.mark.parametrize(("divisions", "text"), [(4, "3/8"), (5, "1/2"), (8, "0.5"), (4, "empty"), (4, "5/4")])
def test_refuses_a_mark_that_the_gauge_does_not_have(divisions: int, text: str) -> None:
    with pytest.raises(OutingError, match="Its marks are full, "):
        read_level(text, replace(PORTABLE, divisions=divisions))


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["--stretch", "walk 40 min", "--stretch", "sit 2 h"], 0, "start for home after 2 hours 40 minutes"),
        (["--stretch", "walk 4 min"], 0, "start for home after 4 minutes"),
        (["--stretch", "walk 8 h"], 1, "does not last"),
        (["--stretch", "walk 1 h", "--level", "1/4"], 1, "does not last"),
    ],
)
def test_command(words: list[str], code: int, said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["outing", str(CASE_FILE), *words]) == code
    answer = capsys.readouterr().out
    assert said in answer
    assert "Do not start." not in answer


def test_command_for_pulses(capsys: pytest.CaptureFixture[str]) -> None:
    case = str(ROOT / "examples" / "orchard-row.toml")
    assert main(["outing", case, "--stretch", "walk 4 h"]) == 1
    assert "If they stop, you may not get home." in capsys.readouterr().out
    assert main(["outing", case, "--stretch", "walk 40 min", "--stretch", "sit 2 h"]) == 0
    answer = capsys.readouterr().out
    # 427 L at the worst, 99 L held back, 116 L used: 212 L are 96 min at 2.2 L/min, 64 min at 3.3 L/min.
    assert "it still lasts at least 1 hour 35 minutes while you sleep" in answer
    assert "it lasts at least 1 hour on the steady flow" in answer


def test_command_for_a_program(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["outing", str(CASE_FILE), "--stretch", "walk 8 h", "--format", "json"]) == 1
    answer = json.loads(capsys.readouterr().out)
    assert answer.pop("notices")
    assert answer == {
        "enough": False,
        "lasts": False,
        "lasts_if_pulses_stop": False,
        "busiest": "rest",
        "left_min": 0,
        "left_steady_min": None,
        "turn_back_after_min": 175,
        "fills_needed": 2,
    }


@pytest.mark.parametrize(
    "words",
    [
        ["--stretch", "fly 2 h"],
        ["--stretch", "walk 5 min", "--level", "3/8"],
        ["--stretch", "walk 5 min", "--portable", "2"],
    ],
)
def test_command_refuses_with_a_message(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["outing", str(CASE_FILE), *words]) == 2
    told = capsys.readouterr()
    assert told.err
    assert not told.out
