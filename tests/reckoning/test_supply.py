"""How long the supply at home lasts, when to call, and the back-up."""

import datetime as dt
from fractions import Fraction
from typing import Any

import pytest

from companion.case.delivery import WEEKDAYS
from companion.reckoning.plan import plan
from companion.reckoning.supply import ReservoirSupply, Standing
from tests.cases import LEFT_OUT, NO_MARGINS, PULSE, a_case


def supply(changes: dict[str, Any]) -> ReservoirSupply:
    """Return the supply of a changed base."""
    return plan(a_case(changes)).supply[0]


def one_order(flow: str, hours: int) -> dict[str, Any]:
    """Return changes for one flow for some hours a day, all from the reservoir, and no portable."""
    return {
        "portable": [],
        "prescription.rest": {"flow": flow, "hours_per_day": f"{hours} h"},
        "prescription.exertion": LEFT_OUT,
        "prescription.sleep": LEFT_OUT,
        "prescription.hours_off_oxygen": f"{24 - hours} h",
    }


# ── published and computed examples ─────────────────────────────────────────────────────────────

L1 = one_order("3 L/min", 8) | {"reservoir[1].oxygen_mass": "80 lb"}


def test_l1_as_published() -> None:
    # "80 lb, 3 L/min, 8 h a day: 19 days" (respiratory-care test item, answer C, rationale 80/2.5 × 860). It
    # leaves out what boils off in the other 16 hours; what is breathed alone does make 19 days.
    found = supply(L1)
    litres = 80 * 0.45359237 * 754
    assert litres / found.nominal.direct == pytest.approx(19.0, abs=0.1)
    assert found.days_nominal < 19


@pytest.mark.parametrize(
    ("boil_off", "days"),
    [
        # L1b, computed with 344 L/lb: the published 19 days are 16 to 32 % too long
        ("1 lb/day", 16.5),
        ("1.5 lb/day", 15.4),
        ("2 lb/day", 14.5),
    ],
)
def test_l1_with_what_boils_off(boil_off: str, days: float) -> None:
    found = supply(L1 | {"reservoir[1].boil_off": boil_off})
    assert found.days_nominal == pytest.approx(days, rel=0.01)
    assert found.days_nominal < days
    assert found.days_to_empty < found.days_nominal


L12 = one_order("2 L/min", 20) | {
    "portable": [
        {
            "liquid_volume": "1.2 L",
            "working_pressure": "20.1 psi",
            "empty_mass": "5.5 lb",
            "boil_off": "26 g/h",
            "economiser": True,
            "max_flow": "6 L/min",
            "gauge": {"kind": "hanging", "divisions": 4},
            "coupling": "top fill",
            "carrier": "bag",
            "cold_fills_per_day": 1,
            "warm_fills_per_day": 0,
        }
    ]
}


def test_l12_one_fill_a_day() -> None:
    # 73 lb: 20 h at 2 L/min, one full fill of 1.2 L with 10 % lost, 4 h idle at 1 lb/day: 3,546 L/day,
    # 7.04 days; a naive 24 h at 2 L/min promises 8.66. Computed with CoolProp 8.0.0.
    found = supply(L12)
    assert found.nominal.total == pytest.approx(3546, rel=0.002)
    assert found.days_nominal == pytest.approx(7.04, abs=0.02)


def test_a_warm_fill_loses_more() -> None:
    cold = supply(L12).nominal
    warm = supply(L12 | {"portable[1].cold_fills_per_day": 0, "portable[1].warm_fills_per_day": 1}).nominal
    assert warm.warm_fills / cold.cold_fills == pytest.approx(1.25 / 1.10)


@pytest.mark.parametrize(
    ("flow", "boil_off", "economiser", "days"),
    [
        # 73 lb, 24 h a day, computed with 344 L/lb: days by the greater of flow and boil-off, and by their sum
        ("0.1 L/min", "1 lb/day", True, 73),
        ("0.1 L/min", "2 lb/day", True, 36.5),
        ("0.1 L/min", "1 lb/day", False, 51.5),
        ("0.25 L/min", "1 lb/day", True, 69.8),
        ("0.25 L/min", "2 lb/day", True, 36.5),
        ("0.25 L/min", "1 lb/day", False, 35.7),
        ("0.5 L/min", "2 lb/day", True, 34.9),
        ("0.5 L/min", "1 lb/day", False, 23.6),
        ("1 L/min", "1 lb/day", True, 17.4),
        ("1 L/min", "1 lb/day", False, 14.1),
        ("2 L/min", "2 lb/day", True, 8.7),
        ("2 L/min", "1 lb/day", False, 7.8),
    ],
)
def test_loss_rule(flow: str, boil_off: str, economiser: bool, days: float) -> None:
    found = supply(one_order(flow, 24) | {"reservoir[1].boil_off": boil_off, "reservoir[1].economiser": economiser})
    assert found.days_nominal == pytest.approx(days, rel=0.008)


@pytest.mark.parametrize(
    ("level", "nominal_days", "worst_days"),
    [
        # 73 lb at 2 L/min with a gauge in quarters, read to an eighth; computed with 344 L/lb
        (Fraction(1), 8.72, 7.63),
        (Fraction(3, 4), 6.54, 5.45),
        (Fraction(1, 2), 4.36, 3.27),
        (Fraction(1, 4), 2.18, 1.09),
    ],
)
def test_a_gauge_in_quarters(level: Fraction, nominal_days: float, worst_days: float) -> None:
    found = supply(one_order("2 L/min", 24) | {"clinic.policy": {"flow_tolerance_percent": 0}})
    assert found.days_nominal * float(level) == pytest.approx(nominal_days, rel=0.008)
    in_days = found.safe_min[level] / 1440
    assert in_days <= worst_days
    assert in_days > worst_days - 1  # whole days, and below two days half hours


# ── the parts of a day ──────────────────────────────────────────────────────────────────────────


def test_hours_on_a_portable_are_not_breathed_twice() -> None:
    said = supply({"prescription.exertion.on_portable": "3 h"}).nominal
    not_said = supply({}).nominal
    assert not_said.direct - said.direct == pytest.approx(3 * 60 * 2)
    assert said.standing == pytest.approx(180 * 754 * 0.45359237 / 1440)
    assert said.cold_fills == not_said.cold_fills


def test_each_activity_by_its_own_flow() -> None:
    found = supply({"prescription.exertion.flow": "4 L/min", "prescription.sleep.flow": "1 L/min"}).nominal
    # 13 h at 2, 3 h at 4, 8 h at 1 L/min: not 24 h of one of them
    assert found.direct == pytest.approx(60 * (13 * 2 + 3 * 4 + 8 * 1))


def test_pulses_are_for_the_portable_only() -> None:
    assert supply(PULSE).nominal.direct == supply({}).nominal.direct


def test_worst_day_takes_every_flow_at_its_upper_end() -> None:
    found = supply({})
    assert found.worst.direct == pytest.approx(1.1 * found.nominal.direct)
    assert found.worst.total > found.nominal.total


# ── the call mark ───────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("lead_days", "closed_days", "safety_days", "mark", "covers"),
    [
        # A quarter covers 1.0 days at the worst reading, a half 3.2, three quarters 5.3, full 7.5 (no tolerance).
        # With no safety day, the day of the delivery counts to six in the evening: three quarters of a day. One day
        # more, for a gauge that is read once a day: 0 + 0 + 0.75 + 1 days, and so on.
        (0, 0, 0, Fraction(1, 2), True),  # 1.75
        (1, 0, 0, Fraction(1, 2), True),  # 2.75
        (1, 0, 1, Fraction(1, 2), True),  # 3
        (1, 1, 0, Fraction(3, 4), True),  # 3.75
        (1, 2, 0, Fraction(3, 4), True),  # 4.75
        (1, 2, 1, Fraction(3, 4), True),  # 5
        (2, 2, 1, None, True),  # 6
        (2, 2, 2, None, True),
        (3, 3, 2, None, False),
    ],
)
def test_call_mark(lead_days: int, closed_days: int, safety_days: int, mark: Fraction | None, covers: bool) -> None:
    found = supply(
        one_order("2 L/min", 24)
        | {
            # Every day is a working day, and these eight weeks hold no holiday: what is stated is the wait.
            "issued": dt.date(2026, 3, 2),
            "prescription.review_date": dt.date(2026, 4, 27),
            "clinic.delivery": {"lead_days": lead_days, "closed_days": closed_days, "weekdays": list(WEEKDAYS)},
            "clinic.policy": {"flow_tolerance_percent": 0, "safety_days": safety_days},
        }
    )
    assert (found.call_mark, found.covers_delivery) == (mark, covers)


def test_each_reservoir_by_itself() -> None:
    second = a_case().reservoir[0].model_dump() | {"oxygen_mass": "40 lb"}
    both = plan(a_case({"reservoir": [a_case().reservoir[0].model_dump(), second]})).supply
    assert [line.container for line in both] == ["reservoir-1", "reservoir-2"]
    assert both[1].days_nominal / both[0].days_nominal == pytest.approx(40 / 73)


# ── a portable that stood ───────────────────────────────────────────────────────────────────────


def stood(changes: dict[str, Any]) -> Standing:
    """Return how the base's portable empties itself, with no margins."""
    return plan(a_case(NO_MARGINS | changes)).standing[0]


@pytest.mark.parametrize(
    ("litres", "boil_off", "left_share"),
    [
        # After 10 hours a full 0.5 L portable at 18 g/h has lost 33 %, a 1.2 L one at 26 to 55 g/h 20 to 42 %;
        # here after 12 hours, computed with CoolProp 8.0.0 at 2.4 bar absolute.
        ("0.5 L", "18 g/h", 1 - 12 * 0.018 / 0.547),
        ("1.2 L", "26 g/h", 1 - 12 * 0.026 / 1.313),
        ("1.2 L", "55 g/h", 1 - 12 * 0.055 / 1.313),
    ],
)
def test_what_is_left_in_a_portable(litres: str, boil_off: str, left_share: float) -> None:
    line = stood({"portable[1].liquid_volume": litres, "portable[1].boil_off": boil_off})
    twelve = next(row for row in line.rows if row.hours == 12)
    full_min = {"0.5 L": 206.2, "1.2 L": 495.0}[litres]  # at 2 L/min
    assert twelve.safe_min["rest"] == pytest.approx(full_min * left_share, abs=5)
    assert twelve.safe_min["rest"] <= full_min * left_share


def test_a_portable_empties_itself() -> None:
    # 0.5 L at 18 g/h: 0.547 kg are gone after 30 hours
    line = stood({"portable[1].liquid_volume": "0.5 L", "portable[1].boil_off": "18 g/h"})
    assert line.empty_after_hours == 30
    assert [row.hours for row in line.rows] == [4, 8, 12, 24]


# ── the back-up ─────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("changes", "minutes"),
    [
        # Two US size E at 2 L/min: 311 min each by the book, 280 to the reserve of 200 psi. Read warm, 2,200 psi are
        # 2,095, and 77 less where the gauge is wrong by 3.5 % of full: 1,818 psi of 2,200 at 2.2 L/min are 234 min.
        ({}, 460),
        ({"cylinder[1].count": 1}, 230),
        # Two of size H: 52 h 20 each by the book to its reserve, 43 h with margins; in whole days
        ({"cylinder[1].content": "6909 L"}, 4320),
    ],
)
def test_backup(changes: dict[str, Any], minutes: int) -> None:
    assert plan(a_case(changes)).backup_min == {"rest": minutes, "exertion": minutes, "sleep": minutes}


def test_no_cylinder_no_backup() -> None:
    # A reservoir or portable is never counted as back-up: it evaporates.
    assert plan(a_case({"cylinder": []})).backup_min == {}
