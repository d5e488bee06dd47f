"""How long a container lasts: the deductions, and rounding down."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from typing import Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.facts.units import Amount
from companion.reckoning.containers import LEVELS, LiquidStore
from companion.reckoning.demand import Demand
from companion.reckoning.duration import Window, liquid_minutes_at_least, round_down, window
from companion.reckoning.margins import Margins
from tests.cases import only_cylinder, reservoir

TEXTBOOK = Margins()
USUAL = Margins(flow_tolerance=0.1, reading_error_divisions=0.5, portable_reserve_min=30)
LB_KG = 0.45359237


def flow(l_min: float) -> Demand:
    """Return a continuous flow at rest."""
    return Demand("rest", "continuous", l_min, None, Amount(Decimal(str(l_min)), "liter / minute"))


def liquid(kg: float, kind: Literal["reservoir", "portable"] = "reservoir") -> LiquidStore:
    """Return a container with an economiser and a gauge in quarters that holds so much oxygen."""
    return replace(reservoir(), id=f"{kind}-1", kind=kind, full_kg=kg)


def minutes_off(found: Window) -> dict[str, float]:
    """Return the deductions by cause."""
    return {deduction.cause: deduction.minutes for deduction in found.deductions}


# ── the deductions ──────────────────────────────────────────────────────────────────────────────


def test_each_deduction_of_a_portable() -> None:
    # 1 kg = 754 L; full at worst 7/8; 2 L/min, at most 2.2 L/min; half an hour to get home
    found = window(liquid(1, "portable"), Fraction(1), flow(2), USUAL)
    assert found.nominal_min == pytest.approx(377)
    off = minutes_off(found)
    assert off["gauge reading"] == pytest.approx(377 / 8)
    assert off["flow tolerance"] == pytest.approx(377 * 7 / 8 * (1 - 1 / 1.1))
    assert off["reserve"] == pytest.approx(30)
    assert found.safe_min == 265  # 377 × 7/8 ÷ 1.1 − 30 = 269.9


def test_each_deduction_of_a_cylinder() -> None:
    # US E: 623 L at 2,200 psi, gauge in 100 psi, changed at 200 psi; full is read at 2,150 psi at worst.
    store = only_cylinder(content="623 L", full_pressure="2200 psi")
    found = window(store, Fraction(1), flow(2), USUAL)
    assert found.nominal_min == pytest.approx(311.5)
    off = minutes_off(found)
    assert list(off) == [
        "gas curve",
        "warm cylinder",
        "gauge reading",
        "gauge accuracy",
        "residual",
        "flow tolerance",
        "rounding down",
    ]
    assert off["gas curve"] == 0  # it is full
    # 50 psi of 2,200; 200 psi of 2,200 as a real gas hold 5 % less than their share
    assert off["gauge reading"] == pytest.approx(311.5 * 50 / 2200, abs=0.3)
    assert off["residual"] == pytest.approx(311.5 * 200 / 2200, rel=0.06)
    assert off["flow tolerance"] == pytest.approx((311.5 * 1950 / 2200) * (1 - 1 / 1.1), abs=0.5)
    assert found.safe_min == 250


def test_each_deduction_of_pulses() -> None:
    # 754 L; 0.5 L/min of pulses: a tenth larger each and a tenth faster, not a flow a tenth higher
    pulses = Demand("rest", "pulse", 0.5, "2", None)
    margins = Margins(flow_tolerance=0.5, bolus_tolerance=0.1, breathing_tolerance=0.1)
    off = minutes_off(window(liquid(1, "portable"), Fraction(1), pulses, margins))
    assert "flow tolerance" not in off
    assert off["bolus tolerance"] == pytest.approx(1508 * (1 - 1 / 1.1))
    assert off["faster breathing"] == pytest.approx(1508 / 1.1 * (1 - 1 / 1.1))


def test_the_vapour_of_an_empty_container_stays_at_each_reading() -> None:
    # 20 psi: 9.88 kg/m3 of vapour where 1,094.6 kg/m3 of liquid were (CoolProp 8.0.0), 0.9 % of full
    for level in LEVELS:
        off = minutes_off(window(liquid(1), level, flow(2), Margins(vapour=1)))
        assert off["vapour"] == pytest.approx(377 * 0.00905, rel=0.01)
        assert minutes_off(window(liquid(1), level, flow(2), Margins(vapour=0.5)))["vapour"] == pytest.approx(
            off["vapour"] / 2
        )


@pytest.mark.parametrize(
    ("divisions", "misread", "wrong"),
    [
        # accuracy 5 % of full beside half a division: 12.5, 6.25, 5 and 2.5 %; the greater counts
        (4, 12.5, 0),
        (8, 6.25, 0),
        (10, 5, 0),
        (20, 2.5, 2.5),
    ],
)
def test_a_fine_scale_makes_no_better_gauge(divisions: int, misread: float, wrong: float) -> None:
    store = replace(liquid(1), divisions=divisions)
    off = minutes_off(window(store, Fraction(1), flow(2), Margins(reading_error_divisions=0.5, gauge_accuracy=0.05)))
    assert off["gauge reading"] == pytest.approx(3.77 * misread)
    assert off["gauge accuracy"] == pytest.approx(3.77 * wrong)


def test_a_warm_cylinder_and_a_gauge_that_is_wrong() -> None:
    # 2,200 psi read warm are 2,095; half a division of 100 psi is less than 3.5 % of full, 77 psi
    margins = Margins(reading_error_divisions=0.5, warm_cylinder=0.05, cylinder_gauge_accuracy=0.035)
    store = only_cylinder(content="2200 L", full_pressure="2200 psi", reserve="1 psi")
    off = minutes_off(window(store, Fraction(1), flow(1), margins))
    # one litre a psi by the trade's rule, up to 2 % less as a real gas
    assert off["warm cylinder"] == pytest.approx(2200 - 2200 / 1.05, rel=0.02)
    assert off["gauge reading"] == pytest.approx(50, rel=0.05)
    assert off["gauge accuracy"] == pytest.approx(27, rel=0.05)


@pytest.mark.parametrize(
    ("economiser", "l_min", "minutes"),
    [
        # boil-off 1 lb a day, 0.2375 L/min, and 15 % more, 0.273: breathed first with an economiser
        (True, 2.0, 0.0),
        (True, 0.1, 754 / 0.2375 - 754 / 0.2731),
        (False, 2.0, 754 / 2.2375 - 754 / 2.2731),
    ],
)
def test_boil_off_may_be_more_than_on_the_data_sheet(economiser: bool, l_min: float, minutes: float) -> None:
    store = replace(liquid(1), economiser=economiser)
    off = minutes_off(window(store, Fraction(1), flow(l_min), Margins(boil_off_tolerance=0.15)))
    assert off["boil-off"] == pytest.approx(minutes, rel=0.01)


def test_a_low_cylinder_holds_less_than_its_pressure_says() -> None:
    # A quarter of the pressure of a full US E is 3 to 4 % less than a quarter of the gas (CoolProp 8.0.0).
    found = window(only_cylinder(content="623 L", full_pressure="2200 psi"), Fraction(1, 4), flow(2), USUAL)
    assert 0.03 < minutes_off(found)["gas curve"] / found.nominal_min < 0.045


def test_the_reserve_holds_for_a_portable_only() -> None:
    assert minutes_off(window(liquid(1), Fraction(1), flow(2), USUAL))["reserve"] == 0


@pytest.mark.parametrize(
    "found",
    [
        pytest.param(window(liquid(0.1, "portable"), Fraction(1, 4), flow(6), USUAL), id="portable"),
        pytest.param(
            window(
                only_cylinder(content="170 L", full_pressure="2200 psi", reserve="600 psi"),
                Fraction(1, 4),
                flow(2),
                USUAL,
            ),
            id="cylinder below its reserve",
        ),
    ],
)
def test_never_less_than_nothing(found: Window) -> None:
    assert found.safe_min == 0
    assert found.nominal_min == pytest.approx(sum(minutes_off(found).values()))


def test_a_content_known_at_its_worst() -> None:
    assert liquid_minutes_at_least(liquid(1, "portable"), 220, flow(2), USUAL) == pytest.approx(220 / 2.2 - 30)
    assert liquid_minutes_at_least(liquid(1, "portable"), 22, flow(2), USUAL) == 0


# ── rounding ────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("minutes", "shown"),
    [
        (0, 0),
        (4.99, 0),
        (5, 5),
        (100, 100),  # "almost 2 h" in a published table (C10) is 1 h 40
        (132.99, 130),  # 2.21 h: "2 hours, 21 minutes" in a published key (C4)
        (719.99, 715),
        (720, 720),  # from 12 h by half hours
        (749.99, 720),
        (2879.99, 2850),
        (2880, 2880),  # from 48 h by whole days
        (4319.99, 2880),
        (4320, 4320),
        (-1, 0),
    ],
)
def test_rounds_down(minutes: float, shown: int) -> None:
    assert round_down(minutes) == shown


times = st.floats(0, 2_000_000)


@given(times)
def test_never_rounds_up_and_never_takes_more_than_a_step(minutes: float) -> None:
    step = 5 if minutes < 720 else 30 if minutes < 2880 else 1440
    assert minutes - step < round_down(minutes) <= minutes


@given(times, times)
def test_rounding_keeps_the_order(one: float, other: float) -> None:
    assert round_down(min(one, other)) <= round_down(max(one, other))


@given(times)
def test_rounding_twice_is_rounding_once(minutes: float) -> None:
    assert round_down(round_down(minutes)) == round_down(minutes)
