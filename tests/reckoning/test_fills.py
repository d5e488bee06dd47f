"""The fills: what one takes out of the reservoir, and whether a day's fills are enough."""

from typing import Any

import pytest

from companion.reckoning.containers import LiquidStore, stores
from companion.reckoning.fills import fill_litres, share_of_fills, share_with_pauses
from companion.reckoning.margins import NOMINAL, Margins, margins_of
from tests.cases import LEFT_OUT, NO_MARGINS, a_case


def liquid_stores(changes: dict[str, Any]) -> list[LiquidStore]:
    """Return the reservoir and the portable of a changed base."""
    return [store for store in stores(a_case(changes)) if isinstance(store, LiquidStore)]


LET_DOWN = Margins(let_down=1)


@pytest.mark.parametrize(
    ("portable_psi", "reservoir_psi", "times_rated"),
    [
        # CoolProp 8.0.0: liquid at 1 atm is 4.3 % denser than at 20 psi, 8.5 % than at 50 psi; let down from 20 psi
        # 7.4 % of it turn to gas, from 50 psi 13.9 %
        ("0 psi", "0 psi", 1.0),
        ("20.1 psi", "20.1 psi", 1.043 / (1 - 0.074)),
        ("20.1 psi", "50 psi", 1.043 / (1 - 0.139)),
        ("50 psi", "20.1 psi", 1.085 / (1 - 0.074)),
    ],
)
def test_a_fill_takes_more_than_the_rating(portable_psi: str, reservoir_psi: str, times_rated: float) -> None:
    reservoir, portable = liquid_stores(
        {"portable[1].working_pressure": portable_psi, "reservoir[1].working_pressure": reservoir_psi}
    )
    rated = portable.full_litres
    assert fill_litres(portable, reservoir, 0, NOMINAL) == pytest.approx(rated)
    assert fill_litres(portable, reservoir, 10, NOMINAL) == pytest.approx(1.1 * rated)
    assert fill_litres(portable, reservoir, 0, LET_DOWN) == pytest.approx(times_rated * rated, rel=0.002)
    half = fill_litres(portable, reservoir, 0, Margins(let_down=0.5))
    assert half == pytest.approx((1 + times_rated) / 2 * rated, rel=0.002)


def test_a_portable_stated_by_mass_is_filled_by_volume_all_the_same() -> None:
    by_volume = {"portable[1].liquid_volume": "1.2 L", "portable[1].working_pressure": "20.1 psi"}
    by_mass = {"portable[1].liquid_volume": LEFT_OUT, "portable[1].oxygen_mass": "1.3133 kg"}
    reservoir, one = liquid_stores(by_volume)
    _, other = liquid_stores(by_volume | by_mass)
    assert fill_litres(other, reservoir, 0, LET_DOWN) == pytest.approx(
        fill_litres(one, reservoir, 0, LET_DOWN), rel=0.002
    )


def test_a_pressure_that_nobody_has_said_takes_the_most() -> None:
    reservoir, portable = liquid_stores({"reservoir[1].working_pressure": LEFT_OUT})
    highest, _ = liquid_stores({"reservoir[1].working_pressure": "70 psi"})
    assert reservoir.flash_share >= highest.flash_share
    assert reservoir.vapour_share >= highest.vapour_share
    assert fill_litres(portable, reservoir, 0, LET_DOWN) >= fill_litres(portable, highest, 0, LET_DOWN)


def shares(changes: dict[str, Any]) -> tuple[float, float]:
    """Return the share of the fills in one stretch and with the pauses."""
    case = a_case(changes)
    _, portable = liquid_stores(changes)
    margins = margins_of(case)
    return share_of_fills(case, [portable], margins), share_with_pauses(case, [portable], margins)


def test_hours_spread_over_the_day_boil_off_in_the_pauses() -> None:
    # 1.2 L at 20 psi are 990 L: 3 h at 2 L/min take 360; 13 h of pauses at 26 g/h, 0.327 L/min, take 255
    one_stretch, spread = shares(
        NO_MARGINS
        | {
            "prescription.exertion.on_portable": "3 h",
            "clinic.policy": NO_MARGINS["clinic.policy"] | {"portable_spread": "16 h"},
        }
    )
    assert one_stretch == pytest.approx(360 / 990, abs=0.005)
    assert spread - one_stretch == pytest.approx(255 / 990, abs=0.005)


def test_pauses_do_not_take_what_brings_the_patient_home() -> None:
    # 990 L less 60 for 30 min at 2 L/min: 930 for 3 h at 2 L/min, 360, and for the 255 of the pauses
    one_stretch, spread = shares(
        NO_MARGINS
        | {
            "prescription.exertion.on_portable": "3 h",
            "clinic.policy": NO_MARGINS["clinic.policy"] | {"portable_spread": "16 h", "portable_reserve": "30 min"},
        }
    )
    assert one_stretch == pytest.approx(360 / 930, abs=0.005)
    assert spread - one_stretch == pytest.approx(255 / 930, abs=0.005)


@pytest.mark.parametrize("spread", ["0 h", "2 h", "3 h"])
def test_no_pauses_where_the_hours_fill_the_spread(spread: str) -> None:
    one_stretch, with_pauses = shares(
        {"prescription.exertion.on_portable": "3 h", "clinic.policy": {"portable_spread": spread}}
    )
    assert one_stretch == with_pauses


def test_no_hours_on_a_portable_need_no_fill() -> None:
    assert shares({"portable[1].cold_fills_per_day": 0}) == (0, 0)
