"""How long a container lasts: published examples, the deductions, and rounding down."""

from dataclasses import replace
from fractions import Fraction
from typing import Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.reckoning.containers import LEVELS, LiquidStore
from companion.reckoning.demand import Demand
from companion.reckoning.duration import Window, liquid_minutes_at_least, round_down, window
from companion.reckoning.margins import Margins
from tests.cases import LEFT_OUT, only_cylinder, reservoir

TEXTBOOK = Margins()
USUAL = Margins(flow_tolerance=0.1, reading_error_divisions=0.5, portable_reserve_min=30)
LB_KG = 0.45359237


def flow(l_min: float) -> Demand:
    """Return a continuous flow at rest."""
    return Demand("rest", "continuous", l_min, None)


def liquid(kg: float, kind: Literal["reservoir", "portable"] = "reservoir") -> LiquidStore:
    """Return a container with an economiser and a gauge in quarters that holds so much oxygen."""
    return replace(reservoir(), id=f"{kind}-1", kind=kind, full_kg=kg)


def minutes_off(found: Window) -> dict[str, float]:
    """Return the deductions by cause."""
    return {deduction.cause: deduction.minutes for deduction in found.deductions}


# ── published examples: our nominal time is the textbook's sum ──────────────────────────────────


@pytest.mark.parametrize(
    ("content", "full", "level", "l_min", "published_min", "within_min"),
    [
        # C1: E, 2,200 psi, 2 L/min, no reserve: 308 min (ehow.co.uk 7166423; general how-to article)
        pytest.param("0.28 L/psi", "2200 psi", 1, 2, 308, 0.01, id="C1"),
        # C2: H, 1,100 psi, 5 L/min: "660 min" (same article) uses the factor 3; with 3.14 it is 690.8 min
        pytest.param("3.00 L/psi", "2200 psi", Fraction(1, 2), 5, 660, 0.01, id="C2 as published"),
        pytest.param("3.14 L/psi", "2200 psi", Fraction(1, 2), 5, 690.8, 0.01, id="C2 with the factor of an H"),
        # C4: E, 1,900 psig, 4 L/min: "2.2 h" (board-exam review sheet, stuvia 11490768). Its key goes on to
        # print "2 hours, 21 minutes": 2.21 decimal hours misread. It is 2 h 13 min.
        pytest.param("0.28 L/psi", "1900 psi", 1, 4, 2.2 * 60, 1.1, id="C4"),
        # C5: H, 600 psig, 4 L/min: option "7 h 50 min" (lab-manual test bank ch. 9, scribd 703806946; no key seen)
        pytest.param("3.14 L/psi", "600 psi", 1, 4, 7 * 60 + 50, 1.1, id="C5"),
        # C8: 415 L, 12 L/min: "35 min" (college table at second hand, fr.411answers.com); 34.6 min, rounded up
        pytest.param("415 L", "2200 psi", 1, 12, 35, 0.5, id="C8"),
        # C9: 600 L, 10 L/min: "a little over 1 h" (same table); it is 60 min to the minute, not over
        pytest.param("600 L", "2200 psi", 1, 10, 60, 0.01, id="C9"),
        # C10: 600 L, 6 L/min: "almost 2 h" (same table) for 100 min, which is 1 h 40: the words promise too much
        pytest.param("600 L", "2200 psi", 1, 6, 100, 0.01, id="C10"),
        # C11: 6,500 L, 2 L/min: "about two days" (liquisearch.com oxygen therapy); 2.26 days
        pytest.param("6500 L", "2200 psi", 1, 2, 54.17 * 60, 1, id="C11"),
        # C12: E "651 L at 1,800 psi", 1 L/min: "about 11 h" (veterinary page, low confidence) for 10.85 h;
        # 0.28 × 1,800 psi are only 504 L, 8.4 h: the published content is 29 % too much
        pytest.param("651 L", "1800 psi", 1, 1, 10.85 * 60, 0.01, id="C12 as published"),
        pytest.param("0.28 L/psi", "1800 psi", 1, 1, 8.4 * 60, 0.01, id="C12 with the factor of an E"),
    ],
)
def test_cylinder_examples(
    content: str, full: str, level: Fraction, l_min: float, published_min: float, within_min: float
) -> None:
    field = "factor" if "psi" in content else "content"
    store = only_cylinder(**{field: content, "full_pressure": full, "reserve": "0 psi"})
    found = window(store, Fraction(level), flow(l_min), TEXTBOOK)
    assert found.nominal_min == pytest.approx(published_min, abs=within_min)
    assert found.safe_min <= found.nominal_min


@pytest.mark.parametrize(
    ("factor", "psi", "reserve", "l_min", "minutes"),
    [
        # minutes = (psi − reserve) × factor ÷ flow. C3: turk.globalbizfin.com 1017018860, seen in 4 languages;
        # the others are our arithmetic with the textbook's formula.
        pytest.param(0.16, 2000, 200, 0.5, 576, id="C3"),
        pytest.param(3.14, 2200, 200, 2, 3140, id="C13"),
        pytest.param(0.28, 1000, 200, 3, 74.67, id="C14"),
        pytest.param(0.28, 500, 200, 2, 42, id="C15"),
        pytest.param(2.41, 2000, 200, 6, 723, id="C16"),
    ],
)
def test_cylinder_examples_with_a_reserve(factor: float, psi: int, reserve: int, l_min: float, minutes: float) -> None:
    store = only_cylinder(factor=f"{factor} L/psi", full_pressure=f"{psi} psi", reserve=f"{reserve} psi")
    found = window(store, Fraction(1), flow(l_min), TEXTBOOK)
    assert found.nominal_min * (1 - reserve / psi) == pytest.approx(minutes, abs=0.01)
    # The real gas: a reserve by pressure holds a little less than its share, so the time may be up to 1.5 %
    # above the straight-line sum, and rounding down takes at most one step.
    assert 0.9 * minutes - 5 <= found.safe_min <= 1.015 * minutes


@pytest.mark.parametrize(
    ("kg", "l_min", "textbook_min", "coolprop_min"),
    [
        # The textbook's formula, lb × 344 ÷ flow, beside CoolProp by mass (342 L/lb at 70 °F, 1 atm). Only L1
        # (tests/test_supply.py) was published; these are computed with the formula.
        pytest.param(3 * LB_KG, 2, 516, 513, id="L3"),
        pytest.param(4 * LB_KG, 2, 688, 684, id="L4"),
        pytest.param(1.1 * LB_KG, 2, 189, 188, id="L5"),
        pytest.param(2.5 * LB_KG, 3, 286.7, 285, id="L6"),
        pytest.param(40 * LB_KG, 4, 3440, 57.0 * 60, id="L7"),
        pytest.param(100 * LB_KG, 2, 17200, 17101, id="L8"),
        pytest.param(8 * LB_KG, 6, 458.7, 456, id="L11"),
    ],
)
def test_liquid_examples(kg: float, l_min: float, textbook_min: float, coolprop_min: float) -> None:
    found = window(liquid(kg), Fraction(1), flow(l_min), TEXTBOOK)
    assert found.nominal_min == pytest.approx(coolprop_min, rel=0.002)
    assert found.nominal_min == pytest.approx(textbook_min, rel=0.01)
    assert found.nominal_min < textbook_min


@pytest.mark.parametrize(
    ("litres", "psi", "l_min", "hours"),
    [
        # L9: 1.2 L at 2 L/min: 516 min by the textbook, 8 h 15 at 20 psi and 8 h 01 at 40 psi by density
        pytest.param("1.2 L", "20.1 psi", 2, 8.25, id="L9 at 2.4 bar"),
        pytest.param("1.2 L", "40.4 psi", 2, 8.02, id="L9 at 3.8 bar"),
        # L10: 40 L at 2 L/min: 286.7 h by the textbook
        pytest.param("40 L", "20.1 psi", 2, 275.1, id="L10 at 2.4 bar"),
        pytest.param("40 L", "40.4 psi", 2, 267.3, id="L10 at 3.8 bar"),
    ],
)
def test_liquid_examples_by_volume(litres: str, psi: str, l_min: float, hours: float) -> None:
    store = reservoir(
        oxygen_mass=LEFT_OUT,
        liquid_volume=litres,
        working_pressure=psi,
        empty_mass="70 lb",
        boil_off="0.2 lb/day",
    )
    assert window(store, Fraction(1), flow(l_min), TEXTBOOK).nominal_min == pytest.approx(hours * 60, rel=0.002)


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
    pulses = Demand("rest", "pulse", 0.5, "2")
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
    store = replace(liquid(1), division=1 / divisions)
    off = minutes_off(window(store, Fraction(1), flow(2), Margins(reading_error_divisions=0.5, gauge_accuracy=0.05)))
    assert off["gauge reading"] == pytest.approx(3.77 * misread)
    assert off["gauge accuracy"] == pytest.approx(3.77 * wrong)


def test_a_warm_cylinder_and_a_gauge_that_is_wrong() -> None:
    # 2,200 psi read warm are 2,095; half a division of 100 psi is less than 3.5 % of full, 77 psi
    margins = Margins(reading_error_divisions=0.5, warm_cylinder=0.05, cylinder_gauge_accuracy=0.035)
    store = only_cylinder(content="2200 L", full_pressure="2200 psi", reserve="0 psi")
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
