"""Every safe time, for cases from the whole valid range, against a walk through the minutes."""

import copy
import math
from collections.abc import Callable
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from companion.case import Case
from companion.case.equipment import Portable, Reservoir
from companion.case.read import case_from_dict
from companion.reckoning.plan import Plan, plan
from companion.reckoning.supply import ReservoirSupply
from tests.cases import BASE, NO_MARGINS, a_case, case_dict, meant, valid_cases
from tests.coolprop import litres_per_kg
from tests.few import FEW
from tests.reckoning.walk import (
    boil_off_l_min,
    containers,
    fills_litres,
    full_liquid_litres,
    loss_l_min,
    minutes_until_short,
    staying_home,
    true_minutes,
    worst_day,
    worst_litres,
)

MARGINS = (
    "bolus_tolerance",
    "breathing_tolerance",
    "gauge_accuracy",
    "cylinder_gauge_accuracy",
    "warm_cylinder",
    "vapour",
    "boil_off_tolerance",
    "let_down",
)


def checked(raw: dict[str, Any]) -> Case:
    return case_from_dict(meant(raw), "the test")


# ── no safe time is longer than the truth ───────────────────────────────────────────────────────


@FEW
@given(valid_cases())
def test_liquid_windows(raw: dict[str, Any]) -> None:
    case = checked(raw)
    made, known, orders = plan(case), containers(case), case.prescription.orders()
    for found in [*made.windows_of("reservoir"), *made.windows_of("portable")]:
        true = true_minutes(case, known[found.container], found.level, orders[found.demand.activity])
        assert found.safe_min <= true, found


def one_cylinder(**fields: str) -> dict[str, Any]:
    """Return a case whose one cylinder has these fields, and no margin but rounding down."""
    exact = {"cylinder[1].count": 1, "cylinder[1].gauge_division": "10 psi"}
    return case_dict(NO_MARGINS | exact | {f"cylinder[1].{name}": value for name, value in fields.items()})


# At 4,400 psi a real gas is past its peak: 1,500 of 4,400 psi hold 36 % of it, not the 34 % of the straight line.
HIGH_RESERVE = one_cylinder(full_pressure="4400 psi", content="3600 L", reserve="1500 psi")
# 614.9 minutes at a quarter by CoolProp, 615.05 by the table between its rows at 3,000 and 3,500 psi
BETWEEN_ROWS = one_cylinder(full_pressure="3240 psi", content="5014 L", reserve="1 psi")
# 4,319.9 minutes from full by CoolProp, 4,320.1 with what stays in taken from the table between 750 and 1,000 psi
RESERVE_BETWEEN_ROWS = one_cylinder(full_pressure="4000 psi", content="10986.2 L", reserve="850 psi")


def check_cylinders(raw: dict[str, Any]) -> None:
    case = checked(raw)
    made, known, orders = plan(case), containers(case), case.prescription.orders()
    for found in made.windows_of("cylinder"):
        true = true_minutes(case, known[found.container], found.level, orders[found.demand.activity])
        assert found.safe_min <= true, found


@FEW
@given(valid_cases())
@example(HIGH_RESERVE)
@example(BETWEEN_ROWS)
def test_cylinder_windows(raw: dict[str, Any]) -> None:
    check_cylinders(raw)


def test_a_reserve_between_two_rows_of_the_table() -> None:
    check_cylinders(RESERVE_BETWEEN_ROWS)


@FEW
@given(valid_cases())
def test_when_pulses_fail(raw: dict[str, Any]) -> None:
    case = checked(raw)
    known, orders = containers(case), case.prescription.orders()
    steady = case.model_copy(update={"conserver": None})
    for window in plan(case).steady_windows:
        item = known[window.container].model_copy(update={"conserver": False})
        assert window.safe_min <= true_minutes(steady, item, window.level, orders[window.demand.activity]), window


@FEW
@given(valid_cases())
def test_a_night_is_one_stretch(raw: dict[str, Any]) -> None:
    case = checked(raw)
    known, sleep = containers(case), case.prescription.sleep
    for night in plan(case).nights:
        item = known[night.container]
        assert sleep is not None
        true = true_minutes(case, item, Fraction(1), sleep)
        assert night.lasts_min <= true
        if night.lasts:
            assert night.asleep_min is not None
            assert true >= night.asleep_min
        if night.changes is not None:
            assert night.asleep_min is not None
            assert (night.changes + 1) * true >= night.asleep_min


@FEW
@given(valid_cases())
@example(HIGH_RESERVE)
def test_backup(raw: dict[str, Any]) -> None:
    case = checked(raw)
    made, orders = plan(case), case.prescription.orders()
    for activity, minutes in made.backup_min.items():
        # Each cylinder on its own, and with a conserver that gives no pulses any more.
        for conserver in (True, False):
            items = [item if conserver else item.model_copy(update={"conserver": False}) for item in case.cylinder]
            assert minutes <= sum(
                item.count * true_minutes(case, item, Fraction(1), orders[activity]) for item in items
            )


@FEW
@given(valid_cases())
def test_a_portable_that_stood(raw: dict[str, Any]) -> None:
    case = checked(raw)
    known = containers(case)
    for line in plan(case).standing:
        item = known[line.container]
        assert isinstance(item, Portable)
        full = worst_litres(case, item, Fraction(1))
        assert line.empty_after_hours * 60 <= minutes_until_short(full, [boil_off_l_min(case, item)] * 1440)
        for row in line.rows:
            left = max(0.0, full - row.hours * 60 * boil_off_l_min(case, item))
            assert row.left_kg * litres_per_kg() <= full_liquid_litres(item)
            for activity, minutes in row.safe_min.items():
                loss = loss_l_min(case, item, case.prescription.orders()[activity])
                held_back = case.clinic.policy.portable_reserve.to("time")
                assert minutes <= max(0.0, minutes_until_short(left, [loss] * 1440) - held_back)


def supplies(case: Case) -> list[tuple[Reservoir, ReservoirSupply]]:
    return list(zip(case.reservoir, plan(case).supply, strict=True))


@FEW
@given(valid_cases())
def test_supply_in_whole_days(raw: dict[str, Any]) -> None:
    case = checked(raw)
    for item, line in supplies(case):
        day = worst_day(case, item)
        for level, minutes in line.safe_min.items():
            if minutes >= 2880:
                assert minutes <= minutes_until_short(worst_litres(case, item, level), day)
        assert line.days_to_empty * 1440 <= minutes_until_short(worst_litres(case, item, Fraction(1)), day)


@FEW
@given(valid_cases())
@example(
    # A quarter is 3,121 L at worst; exertion takes 2,880 of the day's 3,840 L in its 8 hours. If they come
    # first, the rest lasts 4 hours more, not what a day's average promises.
    case_dict(
        {
            "portable": [],
            "prescription.rest": {"flow": "1 L/min", "hours_per_day": "16 h"},
            "prescription.exertion": {"flow": "6 L/min", "hours_per_day": "8 h"},
            "prescription.sleep": {"flow": "1 L/min", "hours_per_day": "0 h"},
            "clinic.policy": {"flow_tolerance_percent": 0},
        }
    )
)
def test_supply_in_hours(raw: dict[str, Any]) -> None:
    case = checked(raw)
    for item, line in supplies(case):
        day = worst_day(case, item)
        for level, minutes in line.safe_min.items():
            assert minutes <= minutes_until_short(worst_litres(case, item, level), day), level


# One fill gives eight hours of pulses for less than the reservoir gives in these hours on the steady flow.
OUT_ON_PULSES = {
    "prescription.rest": {
        "flow": "2 L/min",
        "pulse_setting": "2",
        "breaths_per_minute": 18,
        "hours_per_day": "13 h",
        "on_portable": "8 h",
    },
    "conserver": {"bolus": {"2": "16 mL"}},
    "portable[1].conserver": True,
    "portable[1].liquid_volume": "0.6 L",
    "portable[1].empty_mass": "4 lb",
    "portable[1].boil_off": "18 g/h",
}


@FEW
@given(valid_cases())
@example(case_dict(OUT_ON_PULSES))
@example(case_dict(OUT_ON_PULSES | {"reservoir": [BASE["reservoir"][0], BASE["reservoir"][0] | {"coupling": "side"}]}))
def test_who_stays_at_home_is_covered(raw: dict[str, Any]) -> None:
    case = checked(raw)
    for item, line in supplies(case):
        day = worst_day(staying_home(case), item)
        for level, minutes in line.safe_min.items():
            assert minutes <= minutes_until_short(worst_litres(case, item, level), day), level
        if line.call_mark is not None:
            # The gauge is read once a day: on the morning of the call a day may be gone.
            wait = plan(case).bridge_days * 1440 + 1440
            assert minutes_until_short(worst_litres(case, item, line.call_mark), day) >= wait


@FEW
@given(valid_cases())
def test_a_fill_is_never_undercounted(raw: dict[str, Any]) -> None:
    case = checked(raw)
    for item, line in supplies(case):
        assert line.worst.cold_fills + line.worst.warm_fills >= fills_litres(case, item)


def test_hours_on_a_portable_that_its_fills_do_not_give_are_breathed_from_the_reservoir() -> None:
    # 12 hours a day on a portable that is never filled: the oxygen of those hours has to come from somewhere.
    unfilled = {"prescription.rest.on_portable": "12 h", "portable[1].cold_fills_per_day": 0}
    from_reservoir = plan(a_case({"portable[1].cold_fills_per_day": 0})).supply[0]
    assert plan(a_case(unfilled)).supply[0].worst.total >= from_reservoir.worst.total


# ── what holds for every valid case ─────────────────────────────────────────────────────────────


def all_minutes(made: Plan) -> list[float]:
    """Return every time in a plan that may be promised, in an order of its own [min]."""
    return [
        *(found.safe_min for found in made.windows),
        *(window.safe_min for window in made.steady_windows),
        *(night.lasts_min for night in made.nights),
        *(minutes for line in made.supply for minutes in line.safe_min.values()),
        *(line.days_to_empty for line in made.supply),
        *(line.empty_after_hours for line in made.standing),
        *(minutes for line in made.standing for row in line.rows for minutes in row.safe_min.values()),
        *made.backup_min.values(),
    ]


@FEW
@given(valid_cases())
def test_times_are_finite_and_never_negative(raw: dict[str, Any]) -> None:
    made = plan(checked(raw))
    assert all(0 <= minutes < math.inf for minutes in all_minutes(made))
    for line in made.supply:
        assert 0 < line.days_nominal < math.inf
        assert 0 <= (line.days_to_mark or 0) <= line.days_to_empty


@FEW
@given(valid_cases())
def test_deductions_add_up(raw: dict[str, Any]) -> None:
    made = plan(checked(raw))
    for found in (*made.windows, *made.steady_windows):
        taken = sum(deduction.minutes for deduction in found.deductions)
        assert found.nominal_min - taken == pytest.approx(found.safe_min, abs=1e-6)
        assert all(deduction.minutes >= -1e-6 for deduction in found.deductions), found
        assert found.safe_min <= found.nominal_min


@FEW
@given(valid_cases())
def test_more_content_is_never_less_time(raw: dict[str, Any]) -> None:
    case = checked(raw)
    made = plan(case)
    for store in made.stores:
        for activity in case.prescription.orders():
            falling = [made.window(store.id, level, activity).safe_min for level in store.levels]
            assert falling == sorted(falling, reverse=True)
    for line in made.supply:
        falling = [line.safe_min[level] for level in sorted(line.safe_min, reverse=True)]
        assert falling == sorted(falling, reverse=True)
    for stood in made.standing:
        for activity in case.prescription.orders():
            shorter = [row.safe_min[activity] for row in stood.rows]
            assert shorter == sorted(shorter, reverse=True)


def _more(text: str, times: float) -> str:
    number, unit = text.split(" ", 1)
    return f"{float(number) * times:.4f} {unit}"


def _less_flow(raw: dict[str, Any]) -> None:
    for order in raw["prescription"].values():
        if isinstance(order, dict) and "flow" in order:
            order["flow"] = f"{max(0.05, float(order['flow'].split()[0]) * 0.8):.4f} L/min"


def _less_boil_off(raw: dict[str, Any]) -> None:
    for item in [*raw["reservoir"], *raw["portable"]]:
        item["boil_off"] = _more(item["boil_off"], 0.92)


def _fewer_breaths(raw: dict[str, Any]) -> None:
    for order in raw["prescription"].values():
        if isinstance(order, dict) and "breaths_per_minute" in order:
            order["breaths_per_minute"] = max(8, order["breaths_per_minute"] - 4)


def _less_tolerance(raw: dict[str, Any]) -> None:
    raw["clinic"]["policy"]["flow_tolerance_percent"] *= 0.5


def _less_reading_error(raw: dict[str, Any]) -> None:
    raw["clinic"]["policy"]["reading_error_divisions"] /= 2


def _less_of(name: str) -> Callable[[dict[str, Any]], None]:
    def kinder(raw: dict[str, Any]) -> None:
        raw["clinic"]["policy"][name] *= 0.5

    return kinder


def _less_spread(raw: dict[str, Any]) -> None:
    raw["clinic"]["policy"]["portable_spread"] = _more(raw["clinic"]["policy"]["portable_spread"], 0.5)


def _less_working_pressure(raw: dict[str, Any]) -> None:
    # What is left of a mass as vapour, and what a fill takes, grow with the pressure.
    for item in raw["reservoir"]:
        if "liquid_volume" not in item:
            item["working_pressure"] = _more(item.get("working_pressure", "70 psi"), 0.5)


def _less_portable_reserve(raw: dict[str, Any]) -> None:
    raw["clinic"]["policy"]["portable_reserve"] = _more(raw["clinic"]["policy"]["portable_reserve"], 0.5)


def _less_cylinder_reserve(raw: dict[str, Any]) -> None:
    for item in raw["cylinder"]:
        item["reserve"] = "1 psi"  # the least that may be ordered


def _less_fill_loss(raw: dict[str, Any]) -> None:
    raw["clinic"]["policy"]["cold_fill_loss_percent"] //= 2
    raw["clinic"]["policy"]["warm_fill_loss_percent"] //= 2


def _with_economisers(raw: dict[str, Any]) -> None:
    for item in [*raw["reservoir"], *raw["portable"]]:
        item["economiser"] = True


KINDER: tuple[Callable[[dict[str, Any]], None], ...] = (
    _less_flow,
    _less_boil_off,
    _fewer_breaths,
    _less_tolerance,
    *(_less_of(f"{name}_percent") for name in MARGINS),
    _less_spread,
    _less_working_pressure,
    _less_reading_error,
    _less_portable_reserve,
    _less_cylinder_reserve,
    _less_fill_loss,
    _with_economisers,
)
"""What makes a case easier."""


@FEW
@given(raw=valid_cases())
def test_a_harder_case_never_lasts_longer(raw: dict[str, Any]) -> None:
    # All of them on one home, because drawing a home takes longer than its plan.
    harder = all_minutes(plan(checked(raw)))
    for place, kinder in enumerate(KINDER):
        changed = copy.deepcopy(raw)
        kinder(changed)
        easier = all_minutes(plan(checked(changed)))
        assert all(hard <= easy for hard, easy in zip(harder, easier, strict=True)), (place, kinder.__name__)


@FEW
@given(valid_cases(), st.integers(0, 1))
def test_one_more_fill_a_day_never_lengthens_the_supply(raw: dict[str, Any], warm: int) -> None:
    # Where hours on a portable are too many for its fills, a fill more takes them off the reservoir.
    for order in raw["prescription"].values():
        if isinstance(order, dict):
            order.pop("on_portable", None)
    before = plan(checked(raw)).supply
    for item in raw["portable"]:
        field = "warm_fills_per_day" if warm else "cold_fills_per_day"
        item[field] = min(12, item[field] + 1)
    after = plan(checked(raw)).supply
    for line, more in zip(before, after, strict=True):
        assert all(more.safe_min[level] <= minutes for level, minutes in line.safe_min.items())
        assert (more.call_mark or 1) >= (line.call_mark or 1)
