"""Nights: one unbroken sleep against one fill and one cylinder."""

from fractions import Fraction
from typing import Any

import pytest

from companion.reckoning.duration import round_down
from companion.reckoning.plan import Plan, plan
from tests.cases import LEFT_OUT, PULSE, a_case


def planned(changes: dict[str, Any]) -> Plan:
    return plan(a_case(changes))


@pytest.mark.parametrize(
    ("changes", "asleep_min", "lasts", "changes_in_it"),
    [
        # A full portable of 1.2 L gives 2 L/min for 355 min for certain.
        pytest.param({}, None, False, None, id="nobody has said"),
        pytest.param({"prescription.sleep.on_portable": "0 h"}, None, False, None, id="nobody sleeps on it"),
        pytest.param({"prescription.sleep.on_portable": "8 h"}, 480, False, 1, id="it must be filled once"),
        pytest.param({"prescription.sleep.on_portable": "5 h"}, 300, True, 0, id="it lasts"),
        pytest.param({"prescription.sleep.on_portable": "355 min"}, 355, True, 0, id="to the minute"),
        pytest.param({"prescription.sleep.on_portable": "356 min"}, 356, False, 1, id="a minute short"),
        pytest.param(
            {"prescription.sleep.on_portable": "8 h", "prescription.sleep.flow": "1 L/min"}, 480, True, 0, id="1 L/min"
        ),
    ],
)
def test_a_night_on_the_portable(
    changes: dict[str, Any], asleep_min: float | None, lasts: bool, changes_in_it: int | None
) -> None:
    night = next(night for night in planned(changes).nights if night.kind == "portable")
    assert (night.asleep_min, night.lasts, night.changes) == (asleep_min, lasts, changes_in_it)


def test_two_fills_a_day_are_no_longer_night() -> None:
    one, three = (
        planned({"prescription.sleep.on_portable": "8 h", "portable[1].cold_fills_per_day": fills}).nights
        for fills in (1, 3)
    )
    assert one == three


@pytest.mark.parametrize(
    ("cylinder", "changes_in_it"),
    [
        # All 8 h asleep are on the back-up, whatever is slept on a portable: 230 min each of E, 43 h each of H
        pytest.param({"content": "623 L"}, 2, id="E"),
        pytest.param({"content": "6909 L"}, 0, id="H"),
    ],
)
def test_a_night_on_the_back_up(cylinder: dict[str, Any], changes_in_it: int) -> None:
    found = planned({f"cylinder[1].{name}": value for name, value in cylinder.items()})
    night = next(night for night in found.nights if night.kind == "cylinder")
    assert (night.asleep_min, night.changes) == (480, changes_in_it)


def test_each_kind_of_cylinder_has_its_own_night() -> None:
    small = {"count": 3, "full_pressure": "138 bar", "water_volume": "2 L", "reserve": "14 bar"}
    large = small | {"water_volume": "20 L"}
    rest = {"gauge_division": "10 bar", "max_flow": "15 L/min"}
    found = planned({"cylinder": [small | rest, large | rest]})
    by_id = {night.container: night for night in found.nights if night.kind == "cylinder"}
    assert not by_id["cylinder-1"].lasts
    assert by_id["cylinder-2"].lasts
    assert found.backup_one_min == found.window(*FULL_SMALL).safe_min
    assert found.backup_changes == 5


FULL_SMALL: Any = ("cylinder-1", 1, "rest")


def test_no_sleep_no_night() -> None:
    for changes in (
        {"prescription.sleep": LEFT_OUT, "prescription.rest.hours_per_day": "21 h"},
        {"prescription.sleep.hours_per_day": "0 h", "prescription.rest.hours_per_day": "21 h"},
    ):
        assert planned(changes).nights == ()


@pytest.mark.parametrize(("count", "changes"), [(1, 0), (2, 1), (14, 13)])
def test_how_often_somebody_must_change_the_cylinder(count: int, changes: int) -> None:
    found = planned({"cylinder[1].count": count})
    assert (found.backup_changes, found.backup_one_min) == (changes, 230)


def test_one_cylinder_lasts_that_long_even_if_its_pulses_stop() -> None:
    found = planned(PULSE | {"cylinder[1].conserver": True})
    steady = {window.demand.activity: window.safe_min for window in found.steady_windows if window.level == 1}
    assert found.backup_one_min == steady["rest"] < found.window("cylinder-1", Fraction(1), "rest").safe_min


def test_all_cylinders_last_that_long_even_if_their_pulses_stop() -> None:
    found = planned(PULSE | {"cylinder[1].conserver": True, "cylinder[1].count": 3})
    steady = {window.demand.activity: window.safe_min for window in found.steady_windows if window.level == 1}
    assert found.backup_min["rest"] == round_down(3 * steady["rest"])
    assert found.backup_needed["cylinder-1"] * min(steady.values()) >= found.wait_min


def test_no_cylinder_no_change() -> None:
    found = planned({"cylinder": []})
    assert (found.backup_changes, found.backup_one_min) == (0, 0)


# ── when pulses fail ────────────────────────────────────────────────────────────────────────────


def test_the_time_on_steady_flow_is_that_of_a_portable_without_a_conserver() -> None:
    pulses = planned(PULSE | {"prescription.rest.flow": "3 L/min"})
    without = planned({"prescription.rest.flow": "3 L/min"})
    assert {window.container for window in pulses.steady_windows} == {"portable-1"}
    assert {window.demand.activity for window in pulses.steady_windows} == {"rest"}
    for window in pulses.steady_windows:
        assert window == without.window("portable-1", window.level, "rest")


def test_no_pulses_no_second_time() -> None:
    assert planned({}).steady_windows == ()
    assert planned({"portable[1].conserver": True}).steady_windows == ()
