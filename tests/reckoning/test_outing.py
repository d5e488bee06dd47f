"""Outings: the same figures as the duration table, and a way back that holds."""

import tomllib
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.case import read_case
from companion.case.prescription import Activity
from companion.case.read import case_from_dict
from companion.cli import main
from companion.facts import oxygen
from companion.reckoning.containers import LEVELS, LiquidStore
from companion.reckoning.duration import Margins
from companion.reckoning.outing import OutingError, Stretch, outing, portable_numbered, read_level, read_stretch
from companion.reckoning.plan import plan
from tests.tools import ROOT

CASE_FILE = ROOT / "examples" / "harbour-lane.toml"
CASE = read_case(CASE_FILE)  # 2 L/min in every activity
PLAN = plan(CASE)
PORTABLE = portable_numbered(PLAN.stores, 1)

# 1,000 L when full, 875 L at the worst of a gauge in quarters; the economiser covers the boil-off.
ROUND = LiquidStore("portable-1", "portable", 1000 / oxygen.GAS_LITRES_PER_KG, 0.5, True, 4, False, False)
PLAIN = Margins(flow_tolerance=0.0, reading_error_divisions=0.5, portable_reserve_min=30)


@pytest.mark.parametrize("level", LEVELS[:3])
@pytest.mark.parametrize("activity", ["rest", "exertion", "sleep"])
def test_one_stretch_lasts_as_long_as_the_table_before_rounding(activity: Activity, level: Fraction) -> None:
    window = PLAN.window("portable-1", level, activity)
    unrounded = int(window.safe_min + window.deductions[-1].minutes)
    assert outing(CASE, PORTABLE, level, [Stretch(activity, unrounded)], PLAN.margins).lasts
    assert not outing(CASE, PORTABLE, level, [Stretch(activity, unrounded + 1)], PLAN.margins).lasts


@pytest.mark.parametrize(
    ("level", "stretches", "lasts", "left_min", "turn_back", "fills"),
    [
        # (875 L − 30 min × 2 L/min) ÷ 2 L/min = 407.5 min in all; half of it is 203.75 min
        pytest.param(1, [("exertion", 100)], True, 305, 100, 1, id="307.5 min left, turn back at the end"),
        pytest.param(1, [("exertion", 407)], True, 0, 200, 1, id="0.5 min left"),
        pytest.param(1, [("exertion", 408)], False, 0, 200, 2, id="half a minute short"),
        pytest.param(1, [("exertion", 815)], False, 0, 200, 2, id="two fills of 407.5 min to the minute"),
        pytest.param(1, [("exertion", 816)], False, 0, 200, 3, id="a third fill"),
        # 500 L − 125 L = 375 L; less 60 L for the reserve: 157.5 min
        pytest.param(Fraction(1, 2), [("rest", 60), ("exertion", 60)], True, 35, 75, 1, id="from one half"),
        # 250 L − 125 L = 125 L; less 60 L: 32.5 min, turn back by 16.25 min
        pytest.param(Fraction(1, 4), [("rest", 20)], True, 10, 15, 1, id="from one quarter"),
    ],
)
def test_known_answers(
    level: Fraction,
    stretches: list[tuple[Activity, int]],
    lasts: bool,
    left_min: int,
    turn_back: int,
    fills: int,
) -> None:
    found = outing(CASE, ROUND, Fraction(level), [Stretch(*stretch) for stretch in stretches], PLAIN)
    assert (found.lasts, found.left_min, found.turn_back_after_min, found.fills_needed) == (
        lasts,
        left_min,
        turn_back,
        fills,
    )


def test_the_reserve_is_held_back_for_the_most_demanding_stretch() -> None:
    raw = tomllib.loads(CASE_FILE.read_text(encoding="utf-8"))
    raw["prescription"]["exertion"]["flow"] = "4 L/min"
    faster = case_from_dict(raw, "a test")
    # 875 L − 30 min × 4 L/min − 60 min × 4 L/min − 60 min × 2 L/min = 395 L: 197.5 min at 2 L/min
    found = outing(faster, ROUND, Fraction(1), [Stretch("exertion", 60), Stretch("rest", 60)], PLAIN)
    assert found.left_min == 195


def test_no_number_of_fills_is_enough_where_the_reserve_is_all_that_it_holds() -> None:
    small = LiquidStore("portable-1", "portable", 60 / oxygen.GAS_LITRES_PER_KG, 0.5, True, 4, False, False)
    found = outing(CASE, small, Fraction(1), [Stretch("rest", 1)], PLAIN)
    assert (found.lasts, found.turn_back_after_min, found.fills_needed) == (False, 0, None)


stretches_of_a_day = st.lists(
    st.builds(Stretch, st.sampled_from(["rest", "exertion", "sleep"]), st.integers(1, 240)),
    min_size=1,
    max_size=6,
)


@given(stretches_of_a_day, st.sampled_from(LEVELS))
def test_whoever_turns_back_in_time_gets_home(stretches: list[Stretch], level: Fraction) -> None:
    found = outing(CASE, PORTABLE, level, stretches, PLAN.margins)
    out, left = [], found.turn_back_after_min
    for stretch in stretches:
        if left > 0:
            out.append(Stretch(stretch.activity, min(left, stretch.minutes)))
            left -= stretch.minutes
    if out:
        assert outing(CASE, PORTABLE, level, [*out, *reversed(out)], PLAN.margins).lasts


@given(stretches_of_a_day, st.sampled_from(LEVELS), st.integers(1, 60))
def test_a_longer_outing_never_does_better(stretches: list[Stretch], level: Fraction, minutes: int) -> None:
    shorter = outing(CASE, PORTABLE, level, stretches, PLAN.margins)
    more = [*stretches, Stretch(stretches[-1].activity, minutes)]
    longer = outing(CASE, PORTABLE, level, more, PLAN.margins)
    assert shorter.lasts or not longer.lasts
    assert longer.left_min <= shorter.left_min
    assert shorter.fills_needed is not None
    assert longer.fills_needed is not None
    assert longer.fills_needed >= shorter.fills_needed


@pytest.mark.parametrize(
    ("words", "stretch"),
    [
        ("walk 40 min", Stretch("exertion", 40)),
        ("sit 2 h", Stretch("rest", 120)),
        ("  Travel  1.5 h ", Stretch("rest", 90)),
        ("sleep 0.1 h", Stretch("sleep", 6)),
        ("walk 12.2 min", Stretch("exertion", 13)),  # a part of a minute is a whole one
    ],
)
def test_reads_a_stretch(words: str, stretch: Stretch) -> None:
    assert read_stretch(words) == stretch


@pytest.mark.parametrize(
    "words", ["", "walk", "40 min", "fly 2 h", "walk 2", "walk 2 L/min", "walk 0 min", "walk 2 days"]
)
def test_refuses_what_is_no_stretch(words: str) -> None:
    with pytest.raises(OutingError):
        read_stretch(words)


def test_refuses_an_activity_for_which_nothing_is_ordered() -> None:
    awake = CASE.model_copy(update={"prescription": CASE.prescription.model_copy(update={"sleep": None})})
    with pytest.raises(OutingError, match="sleep"):
        outing(awake, PORTABLE, Fraction(1), [Stretch("sleep", 5)], PLAIN)


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


def test_command(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["outing", str(CASE_FILE), "--stretch", "walk 40 min", "--stretch", "sit 2 h"]) == 0
    assert "turn round after 2 hours 40 minutes" in capsys.readouterr().out


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
