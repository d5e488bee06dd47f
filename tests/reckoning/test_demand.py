"""What a patient uses: a continuous flow, or pulses by the device's own data."""

import pytest

from companion.case import Case
from companion.facts.units import parse_amount
from companion.reckoning.containers import stores
from companion.reckoning.demand import Demand, demand, gives_pulses, steady_demand
from tests.cases import PULSE, a_case


def of_container(case: Case, place: int) -> Demand:
    """Return what is used at rest from the container at that place in the case."""
    order = case.prescription.orders()["rest"]
    return demand("rest", order, stores(case)[place], case.conserver)


RESERVOIR, PORTABLE, CYLINDER = range(3)
TWO_L_MIN = parse_amount("2 L/min", "flow")


def test_continuous() -> None:
    assert of_container(a_case(), PORTABLE) == Demand("rest", "continuous", 2.0, None, TWO_L_MIN)


@pytest.mark.parametrize(
    ("bolus_ml", "l_min"),
    [
        # One setting 2, four devices, at 20 breaths a minute: Palwai, AJRCCM 2010;181:1061, table 2
        (3.2, 0.064),
        (22.8, 0.456),
        (23.4, 0.468),
        (33.2, 0.664),
    ],
)
def test_pulses_by_the_device_not_by_the_setting(bolus_ml: float, l_min: float) -> None:
    found = of_container(a_case(PULSE | {"conserver": {"bolus": {"2": f"{bolus_ml} mL"}}}), PORTABLE)
    assert found.mode == "pulse"
    assert found.setting == "2"
    assert found.flow_l_min == pytest.approx(l_min)


def test_faster_breaths_use_more() -> None:
    # 20 to 30 breaths a minute: the time is two thirds
    walking = of_container(a_case(PULSE | {"prescription.rest.breaths_per_minute": 30}), PORTABLE)
    assert walking.flow_l_min == pytest.approx(1.5 * of_container(a_case(PULSE), PORTABLE).flow_l_min)


@pytest.mark.parametrize("place", [RESERVOIR, CYLINDER])
def test_a_container_without_a_conserver_gives_the_flow(place: int) -> None:
    assert of_container(a_case(PULSE), place) == Demand("rest", "continuous", 2.0, None, TWO_L_MIN)


def test_a_conserver_without_a_setting_gives_the_flow() -> None:
    changes = {name: value for name, value in PULSE.items() if "rest" not in name}
    assert of_container(a_case(changes), PORTABLE).mode == "continuous"


@pytest.mark.parametrize("place", [RESERVOIR, PORTABLE, CYLINDER])
def test_when_pulses_fail_every_container_gives_the_ordered_flow(place: int) -> None:
    case = a_case(PULSE | {"prescription.rest.flow": "3 L/min"})
    order = case.prescription.orders()["rest"]
    assert steady_demand("rest", order) == Demand("rest", "continuous", 3.0, None, parse_amount("3 L/min", "flow"))
    assert gives_pulses(order, stores(case)[place]) == (place == PORTABLE)
