"""Ice growth against published coefficients and worked values. Never a statement that ice is safe."""

from __future__ import annotations

import numpy as np
import pytest

from forecaster.units import f_to_c
from forecaster.water import ice
from forecaster.water.ice import freezing_degree_days, stefan_thickness_cm, thin_ice_thickness_cm


def test_stefan_coefficient() -> None:
    # sqrt(2 k S / (rho L)), 2.22 W/m/K, 917 kg/m3, 334 kJ/kg: 3.539 cm for 1 °C day, 1.0385 in for 1 °F day.
    assert stefan_thickness_cm(np.array([1.0]))[0] == pytest.approx(3.539, abs=1e-3)
    assert stefan_thickness_cm(np.array([5 / 9]))[0] / 2.54 == pytest.approx(1.0385, abs=1e-4)


def test_field_coefficients_lie_below_stefans() -> None:
    # Windy lake without snow 0.8, average lake with snow 0.5-0.7 in/sqrt(°F day): CRREL TN-04-3, as quoted.
    hundred_f = stefan_thickness_cm(np.array([100 * 5 / 9]))[0] / 2.54
    assert hundred_f > 8.0


def test_thin_ice_with_the_air_above_it() -> None:
    # Ashton 1989 (Water Resources Research 25:564, [memory]), H 20 W/m2/K: plain arithmetic.
    assert thin_ice_thickness_cm(np.array([5.0, 10, 20])) == pytest.approx([2.53, 4.66, 8.23], abs=0.01)


def test_freezing_degree_days() -> None:
    # Five days at 20 °F are 60 °F days = 33.33 °C days; a day at 17 °F is 15 °F days.
    assert freezing_degree_days(np.full(5, f_to_c(20)))[-1] == pytest.approx(60 * 5 / 9)
    assert freezing_degree_days(np.array([f_to_c(17)]))[0] * 1.8 == pytest.approx(15.0)


def test_ice_never_thins_by_counting_and_stays_below_stefans() -> None:
    air_c = np.random.default_rng(2).normal(-2.0, 6.0, (20, 90))
    days = freezing_degree_days(air_c)
    thin, bound = thin_ice_thickness_cm(days), stefan_thickness_cm(days)
    assert (np.diff(thin, axis=-1) >= 0).all()
    assert ((thin >= 0) & (thin <= bound)).all()
    assert (thin < bound)[days > 0].all()
    far = np.array([1e4, 1e6])
    assert (1 - thin_ice_thickness_cm(far) / stefan_thickness_cm(far))[1] < 0.01


def test_no_text_says_that_ice_is_safe() -> None:
    assert ice.__doc__ is not None
    assert "not measured" in ice.__doc__
    assert "nobody should walk" in ice.__doc__
