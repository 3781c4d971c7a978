"""The base circle that the flanks' curve shows, whatever pressure angle was stated."""

from math import cos, radians
from types import SimpleNamespace

import numpy as np
import pytest

from cogloupe.cutting.unknown import base_radius_seen
from cogloupe.fits.measure import measure_gear
from cogloupe.inputs.settings import make_settings
from cogloupe.simulation import Camera, Faults, GearSpec, render
from cogloupe_calibration.scale import from_stated_scale


@pytest.mark.parametrize("angle_deg", [18.0, 20.0, 22.5])
def test_base_radius_is_that_of_the_gear_as_cut(angle_deg):
    camera = Camera(
        mm_per_px=0.04, width_px=600, height_px=600, bore_x_px=301.0, bore_y_px=297.0,
        rotation_deg=3, blur_px=1.0, noise=0.0, bits=16, gamma="linear", oversample=2,
    )  # fmt: skip
    spec = GearSpec(teeth=20, module_mm=1.0, bore_mm=6.0, pressure_angle_deg=angle_deg)
    image = render(spec, Faults(), camera, np.random.default_rng(2)).image
    settings = make_settings({"teeth": 20, "module_mm": 1.0})  # 20 degrees, whatever was cut
    measured = measure_gear(image, settings, from_stated_scale(40.0))
    radius, u = base_radius_seen(measured)
    true = 10 * cos(radians(angle_deg))
    # Without noise what is left is the fit's own error (0.005 px from end to end of flanks 40 px
    # long are 0.012 % of the base circle), and the second order of how far the angle is off.
    off = abs(true / (10 * cos(radians(20))) - 1)
    assert radius == pytest.approx(true, rel=3e-4 + 3 * off**2)
    # It tells more than the stated angle does: 22.5 degrees is 1.7 % off on the base circle.
    assert u < 1e-3 * true


def test_its_uncertainty_is_what_noise_of_the_flanks_does_to_it():
    rng = np.random.default_rng(5)

    def seen(slope):
        return SimpleNamespace(
            gear=SimpleNamespace(base_radius=10.0), scale=SimpleNamespace(mm_per_px=0.02),
            fits=SimpleNamespace(slope=slope),
        )  # fmt: skip

    read = [base_radius_seen(seen(1e-6 * rng.standard_normal((24, 2)))) for _ in range(400)]
    radius, u = np.transpose(read)
    # 400 draws tell their spread to 4 %; half of 48 values that are left tell theirs too wide.
    assert 0.9 < np.mean(u) / np.std(radius) < 1.25
