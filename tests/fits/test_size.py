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
