"""Amounts as a person writes them."""

from decimal import Decimal

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.facts.units import COMPUTED_IN, SPELLED, parse_amount, registry, units_of


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        # exact definitions: 1 lb = 0.45359237 kg, 1 oz = lb/16, 1 ft³ = 28.316846592 L, 1 bar = 14.5037738 psi
        ("73 lb", "mass", 33.11224301),
        ("1 oz", "mass", 0.028349523125),
        ("500 g", "mass", 0.5),
        ("31 L", "liquid volume", 31),
        ("1200 mL", "liquid volume", 1.2),
        ("22 ft³", "gas volume", 622.970625),
        ("3 m³", "gas volume", 3000),
        ("22.8 mL", "dose", 22.8),
        ("250 mL/min", "flow", 0.25),
        ("137 bar", "pressure", 1987.017),
        ("13.7 MPa", "pressure", 1987.017),
        ("13700 kPa", "pressure", 1987.017),
        ("13 h", "time", 780),
        ("1 days", "time", 1440),
        ("1.5 lb/day", "mass loss", 0.680388555),
        ("26 g/h", "mass loss", 0.624),
        ("360 g/day", "mass loss", 0.36),
        ("0.28 L/psi", "trade factor", 0.28),
        ("4.06 L/bar", "trade factor", 0.279927),
        ("10 ft", "distance", 3.048),
        ("60 in", "distance", 1.524),
        # the Celsius and Fahrenheit scales: 0 °C is 32 °F, 100 °C is 212 °F
        ("37 °C", "temperature", 37),
        ("32 °F", "temperature", 0),
        ("102.2 °F", "temperature", 39),
        ("212 °F", "temperature", 100),
    ],
)
def test_converts(text: str, kind: str, value: float) -> None:
    assert parse_amount(text, kind).to(kind) == pytest.approx(value, rel=1e-6, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "kind", "shown"),
    [
        ("2L/min", "flow", "2 L/min"),
        (" 2.50  l / min ", "flow", "2.50 L/min"),
        ("2 litres", "liquid volume", "2 L"),
        ("73 lbs", "mass", "73 lb"),
        ("20 psig", "pressure", "20 psi"),
        ("2 hours", "time", "2 h"),
        ("10 feet", "distance", "10 ft"),
        ("1.5 lb/d", "mass loss", "1.5 lb/day"),
        ("37°C", "temperature", "37 °C"),
        ("99 degF", "temperature", "99 °F"),  # not every keyboard has the sign
        # as orders and labels have them
        ("2 lpm", "flow", "2 L/min"),
        ("2 LPM", "flow", "2 L/min"),
        ("2 L/m", "flow", "2 L/min"),
        ("2 litres per minute", "flow", "2 L/min"),
        ("20 PSI", "pressure", "20 psi"),
        ("1.6 lb per day", "mass loss", "1.6 lb/day"),
        ("1.6 lbs a day", "mass loss", "1.6 lb/day"),
        ("15 cu ft", "gas volume", "15 ft³"),
        ("15 cu. ft.", "gas volume", "15 ft³"),
        ("15 cubic feet", "gas volume", "15 ft³"),
        ("15 ft3", "gas volume", "15 ft³"),
        ("0.4 m3", "gas volume", "0.4 m³"),
        # a comma that can mean one thing only
        ("2,5 L/min", "flow", "2.5 L/min"),
        ("1,500.5 psi", "pressure", "1500.5 psi"),
        ("0,280 L/psi", "trade factor", "0.280 L/psi"),
    ],
)
def test_reads_other_spellings_and_keeps_the_number_as_typed(text: str, kind: str, shown: str) -> None:
    assert str(parse_amount(text, kind)) == shown


@pytest.mark.parametrize(
    ("value", "kind", "told"),
    [
        (2, "flow", "needs its unit"),
        (2.0, "flow", "needs its unit"),
        ("2", "flow", "needs its unit"),
        (True, "flow", "not a number with its unit"),
        (None, "flow", "not a number with its unit"),
        (["2 L/min"], "flow", "not a number with its unit"),
        ("1,500 psi", "pressure", r"it may mean 1500 psi or 1\.500 psi"),
        ("1,50,000 psi", "pressure", "a comma parts three figures"),
        ("0,280.5 L/psi", "trade factor", "a comma parts three figures"),
        ("2 litres a", "flow", "no unit of flow"),
        ("", "flow", "not a number followed by a unit"),
        ("L/min", "flow", "not a number followed by a unit"),
        ("-2 L/min", "flow", "less than nothing"),
        ("−2 L/min", "flow", "less than nothing"),
        ("2-3 L/min", "flow", "a range; write the one number"),
        ("1e3 psi", "pressure", "no unit of pressure"),
        ("1 500 psi", "pressure", "not a number followed by a unit"),
        ("1.500.000 psi", "pressure", "not a number followed by a unit"),
        ("1234567 psi", "pressure", "at most 6 before"),  # more digits than any case needs
        ("0.1234567 L/min", "flow", "6 after"),
        ("9" * 30 + " L/min", "flow", "too many digits"),
        ("9" * 10_000 + " L/min", "flow", "too long for an amount"),
        ("2 L", "flow", "no unit of flow"),  # a volume for a flow
        ("2 kg", "liquid volume", "no unit of liquid volume"),
        ("31 L", "mass", "no unit of mass"),
        ("2 lbf", "mass", "no unit of mass"),
        ("20 psia", "pressure", "no unit of pressure"),  # absolute pressure is another quantity
        ("2 mPa", "pressure", "no unit of pressure"),  # not MPa
        ("2 H", "time", "no unit of time"),
        ("2 m", "time", "no unit of time"),
        ("37 C", "temperature", "no unit of temperature"),  # coulomb
        ("310 K", "temperature", "no unit of temperature"),
        ("37°", "temperature", "no unit of temperature"),
        ("nan L/min", "flow", "not a number followed by a unit"),
        ("inf L/min", "flow", "not a number followed by a unit"),
        ("2 L/min; import os", "flow", "no unit of flow"),
        ("2 __import__", "flow", "no unit of flow"),
    ],
)
def test_refuses(value: object, kind: str, told: str) -> None:
    with pytest.raises(ValueError, match=told):
        parse_amount(value, kind)


@pytest.mark.parametrize("kind", COMPUTED_IN)
def test_a_refusal_names_the_units_that_are_right(kind: str) -> None:
    with pytest.raises(ValueError, match="write one of") as told:
        parse_amount("1 furlong", kind)
    assert all(unit in str(told.value) for unit in units_of(kind))


@pytest.mark.parametrize("kind", COMPUTED_IN)
def test_every_unit_that_is_named_is_read(kind: str) -> None:
    for unit in units_of(kind):
        assert str(parse_amount(f"3 {unit}", kind)) == f"3 {unit}"


def test_every_unit_belongs_to_a_kind() -> None:
    assert {unit for kind in COMPUTED_IN for unit in units_of(kind)} == set(SPELLED.values())


def test_one_registry() -> None:
    assert registry() is registry()


NAMES = """
kg kilogram kilograms g gram grams lb lbs pound pounds oz ounce ounces L l ℓ liter liters litre litres mL ml milliliter
millilitres psi psig bar bars kPa kilopascal MPa megapascals min minute minutes h hr hrs hour hours d day days s sec
secs second seconds m meter metre meters cm centimeter centimetres ft foot feet in inch inches m**3 ft**3
°C degC celsius °F degF fahrenheit lb/d g/hr kg/day mL/min L/psi L/bar
"""


def test_each_name_means_what_it_means_in_pint_s_own_file() -> None:
    whole: pint.UnitRegistry[float] = pint.UnitRegistry(cache_folder=None)
    whole.define("@alias pound_force_per_square_inch = psig")
    for name in NAMES.split():
        assert str(registry().parse_units(name)) == str(whole.parse_units(name)), name
    for kind, target in COMPUTED_IN.items():
        for unit in (name for name, spelling in SPELLED.items() if spelling in units_of(kind)):
            found, wanted = (units.Quantity(123.25, unit).to(target).magnitude for units in (registry(), whole))
            assert found == wanted, (unit, target)


@given(st.decimals(min_value=0, max_value=999999, places=6), st.sampled_from(sorted(COMPUTED_IN)), st.data())
def test_what_is_shown_is_read_again(number: Decimal, kind: str, data: st.DataObject) -> None:
    unit = data.draw(st.sampled_from(units_of(kind)))
    amount = parse_amount(f"{number:f} {unit}", kind)
    assert parse_amount(str(amount), kind) == amount


@given(st.text(max_size=30), st.sampled_from(sorted(COMPUTED_IN)))
def test_any_text_is_read_or_refused(text: str, kind: str) -> None:
    try:
        amount = parse_amount(text, kind)
    except ValueError:
        return
    assert amount.number >= 0
