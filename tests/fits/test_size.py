"""Where the scale comes from."""

from types import SimpleNamespace

import numpy as np
import pytest

from cogloupe.fits import size
from cogloupe.inputs.settings import make_settings
from cogloupe_calibration.errors import PhotoError


def test_a_tip_circle_that_is_not_seen_is_told_with_blur_and_depth(monkeypatch):
    outlines = SimpleNamespace(blur_px=6.0, u_edge_px=0.1, outer=None)
    circles = SimpleNamespace(
        outlines=outlines, teeth=SimpleNamespace(tip_radius=100.0, root_radius=78.0)
    )
    monkeypatch.setattr(size, "_tip_centre", lambda *_: np.zeros(2))
    monkeypatch.setattr(size, "half_tip", lambda _: 0.1)
    monkeypatch.setattr(size, "tip_radii", lambda *_: (None, None))
    settings = make_settings({"teeth": 20, "module_mm": 1.0, "known_tip_diameter": "22mm"})
    with pytest.raises(PhotoError, match=r"blur 6\.0 px on teeth 22 px deep"):
        size._scale_from_circle(settings, circles)


@pytest.mark.parametrize("known", ["known_tip_diameter", "known_bore"])
def test_edges_that_stand_out_move_a_scale_from_a_circle_as_it_says(monkeypatch, known):
    monkeypatch.setattr(size, "_tip_centre", lambda *_: np.zeros(2))
    monkeypatch.setattr(size, "half_tip", lambda _: 0.1)
    settings = make_settings({"teeth": 20, "module_mm": 1.0, known: "10mm"})

    def scale(out_px):
        """Tips stand out of the material with their edges; a bore grows narrower."""
        tips = SimpleNamespace(u=np.zeros(20))
        circle = SimpleNamespace(radius=100.0 + out_px, rms=0.0)
        monkeypatch.setattr(size, "tip_radii", lambda *_: (tips, circle))
        seen = SimpleNamespace(
            outlines=SimpleNamespace(u_edge_px=0.1, outer=None),
            teeth=SimpleNamespace(tip_radius=100.0, root_radius=78.0),
            bore=SimpleNamespace(radius=100.0 - out_px, u_radius=0.0),
        )
        return size._scale_from_circle(settings, seen)

    grown = scale(0.01).mm_per_px / scale(0.0).mm_per_px - 1
    # To first order in a ten-thousandth.
    assert scale(0.0).by_edge == pytest.approx(grown / 0.01, rel=1e-3)
