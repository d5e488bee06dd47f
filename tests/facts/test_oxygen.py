"""Our oxygen against CoolProp 8.0.0 (fluid Oxygen, equation of state of Schmidt and Wagner)."""

from importlib.metadata import version

import pytest

from companion.facts import oxygen
from tests.coolprop import ATMOSPHERE_PA, LB_KG, PSI_PA, litres_out, litres_per_kg, props


def test_the_reference_is_the_version_that_our_tables_name() -> None:
    assert version("coolprop").startswith("8.")


def test_gas_from_a_kilogram_and_a_pound() -> None:
    assert pytest.approx(litres_per_kg(), rel=0.001) == oxygen.GAS_LITRES_PER_KG
    assert litres_per_kg() >= oxygen.GAS_LITRES_PER_KG
    per_lb = oxygen.GAS_LITRES_PER_KG * LB_KG
    assert per_lb == pytest.approx(342.0, rel=0.001)  # CoolProp 8.0.0


def test_boiling_point() -> None:
    assert pytest.approx(props("T", "P", ATMOSPHERE_PA, "Q", 0) - 273.15, abs=0.05) == (oxygen.BOILING_POINT_C)


def test_liquid_density_is_near_and_never_above() -> None:
    # From 0 gauge (1.013 bar absolute) to the end of the table, every 0.01 bar: between the rows too.
    for step in range(int(oxygen.HIGHEST_WORKING_PRESSURE_BAR * 100) + 1):
        true = props("D", "P", (step / 100 + 1.01325) * 1e5, "Q", 0) / 1000
        ours = oxygen.liquid_density_kg_per_l(step / 100)
        assert ours == pytest.approx(true, rel=0.005), step
        assert ours <= true, step


@pytest.mark.parametrize(
    ("gauge_bar", "kg_per_l"),
    [
        # saturated liquid at 1.013, 1.4, 2.4, 3.8, 4.46, 4.8 bar absolute, as CoolProp and `chemicals` 1.5 give it
        (0.0, 1.1412),
        (0.38675, 1.1251),
        (1.38675, 1.0944),
        (2.78675, 1.0635),
        (3.44675, 1.0515),
        (3.78675, 1.0457),
    ],
)
def test_liquid_density_at_known_pressures(gauge_bar: float, kg_per_l: float) -> None:
    assert oxygen.liquid_density_kg_per_l(gauge_bar) == pytest.approx(kg_per_l, rel=0.001)


def saturated(what: str, gauge_bar: float, quality: int) -> float:
    return props(what, "P", (gauge_bar + 1.01325) * 1e5, "Q", quality)


def test_what_errs_to_the_other_side_is_near_and_never_below() -> None:
    # What stays behind or is taken in a fill must not be too little: every 0.01 bar, between the rows too.
    latent = saturated("H", 0, 1) - saturated("H", 0, 0)
    for step in range(int(oxygen.HIGHEST_WORKING_PRESSURE_BAR * 100) + 1):
        bar = step / 100
        flash = (saturated("H", bar, 0) - saturated("H", 0, 0)) / latent
        assert 0 <= oxygen.liquid_density_at_most_kg_per_l(bar) * 1000 - saturated("D", bar, 0) < 0.2, step
        assert 0 <= oxygen.vapour_density_kg_per_l(bar) * 1000 - saturated("D", bar, 1) < 0.02, step
        assert 0 <= oxygen.flash_share(bar) - flash < 0.0006, step


@pytest.mark.parametrize(
    ("psi", "vapour_kg_m3", "flash"),
    [
        # CoolProp 8.0.0 at 2.4 and 4.46 bar absolute; flash to 1.01 bar from 2.4 bar 7.4 %
        (20.1, 9.89, 0.074),
        (50.0, 17.65, 0.139),
    ],
)
def test_vapour_and_flash_at_known_pressures(psi: float, vapour_kg_m3: float, flash: float) -> None:
    assert oxygen.vapour_density_kg_per_l(psi * 0.0689476) * 1000 == pytest.approx(vapour_kg_m3, rel=0.003)
    assert oxygen.flash_share(psi * 0.0689476) == pytest.approx(flash, abs=0.001)


@pytest.mark.parametrize("gauge_bar", [-0.001, oxygen.HIGHEST_WORKING_PRESSURE_BAR + 0.001])
def test_no_liquid_density_beyond_the_table(gauge_bar: float) -> None:
    with pytest.raises(ValueError, match="no liquid density"):
        oxygen.liquid_density_kg_per_l(gauge_bar)


FULL_PSI = [500, 625, 1100, 1987, 2015, 2200, 2625, 2900, 3250, 3750, 4351, 4400, 4500]


@pytest.mark.parametrize("full_psi", FULL_PSI)
def test_cylinder_share_is_that_of_the_real_gas(full_psi: float) -> None:
    # Between two rows the table is a chord; the widest gap above the real curve, at 3,250 psi, is 0.06 %.
    for percent in range(101):
        psi = full_psi * percent / 100
        true = litres_out(psi) / litres_out(full_psi)
        assert oxygen.cylinder_share(psi, full_psi) <= true * 1.0008
        assert oxygen.cylinder_share(psi, full_psi) == pytest.approx(true, rel=0.002, abs=1e-9)


def test_cylinder_share_ends() -> None:
    assert oxygen.cylinder_share(0, 2200) == 0
    assert oxygen.cylinder_share(2200, 2200) == 1


def test_no_share_beyond_the_table() -> None:
    assert oxygen.cylinder_share(4500, 4500) == 1
    with pytest.raises(ValueError, match="no gas data"):
        oxygen.cylinder_share(100, 4501)


@pytest.mark.parametrize(
    ("gauge_psi", "true_litres", "by_factor"),
    [
        # US size E, 623 L at 2,200 psi: what is really in it against 0.28 × psi, which runs 5 % ahead near empty
        (2200, 619, 616),
        (2000, 562, 560),
        (1500, 418, 420),
        (1000, 275, 280),
        (500, 135, 140),
        (200, 53, 56),
    ],
)
def test_cylinder_share_follows_the_gas_where_the_trade_factor_does_not(
    gauge_psi: float, true_litres: float, by_factor: float
) -> None:
    ours = 619 * oxygen.cylinder_share(gauge_psi, 2200)
    assert ours == pytest.approx(true_litres, abs=1)
    assert by_factor == pytest.approx(0.28 * gauge_psi)
    assert min(ours, by_factor) <= true_litres + 1


def test_the_table_of_the_gas_is_coolprops() -> None:
    for psi in (100, 500, 1000, 1500, 2000, 2500, 3000, 3500, 4000, 4500):
        ideal = psi * PSI_PA / ATMOSPHERE_PA
        share = oxygen.cylinder_share(psi, 4500) * litres_out(4500) / ideal
        assert share == pytest.approx(litres_out(psi) / ideal, rel=0.0002)
