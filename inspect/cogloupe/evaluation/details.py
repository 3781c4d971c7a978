"""What is worked out of a measured gear beside pitch, thickness and runout, in one place."""

from dataclasses import dataclass

from cogloupe.evaluation.drawing_data import ProfileSheet
from cogloupe.evaluation.measured_sizes import MeasuredSizes, compute_sizes
from cogloupe.evaluation.pitch_and_runout import Figures
from cogloupe.evaluation.profile import ProfileFigures, compute_profiles
from cogloupe.evaluation.shapes import Shapes, compute_gap_shapes
from cogloupe.fits.datum import Axes
from cogloupe.fits.measured_gear import Measured
from cogloupe.inputs.settings import GearSettings
from cogloupe.uncertainty.flank_uncertainty import allowed_lens
from cogloupe_calibration.calibration import Lens


@dataclass(frozen=True)
class Details:
    """Profiles, gap shapes and gauged sizes of a measured gear.

    Attributes
    ----------
    sizes : MeasuredSizes or None
        None for teeth that are no involutes.
    edition : {'2013', '1995'}
        Edition of ISO 1328-1 that classes are asked of.
    judged : bool
        False for straight-sided teeth, whose profile nobody states.
    """

    profiles: ProfileFigures
    shapes: Shapes
    sizes: MeasuredSizes | None
    edition: str
    judged: bool

    @property
    def sheet(self) -> ProfileSheet | None:
        """Profile traces for the drawing; None where nothing states what the flanks should be."""
        made = self.profiles
        if not self.judged:
            return None
        return ProfileSheet(made.roll, made.trace, made.mean_trace)


def compute_details(
    measured: Measured,
    axes: Axes,
    figures: Figures,
    frame: tuple[int, int],
    lens: Lens | None,
    settings: GearSettings | None = None,
) -> Details:
    """Work out profiles, gap shapes and gauged sizes.

    Parameters
    ----------
    measured, axes, figures
        What was worked out.
    frame : (int, int)
        Width and height of the picture, px.
    lens : Lens or None
        Measured lens; without one an allowance is made.
    settings : GearSettings, optional
        With the sizes that a person measured, if any.
    """
    known = lens or allowed_lens(measured, frame)
    settings = settings or GearSettings()
    return Details(
        compute_profiles(measured, figures.first, known),
        compute_gap_shapes(measured, axes, figures),
        compute_sizes(measured, figures, settings),
        settings.tolerance_edition,
        measured.wheel.flank.name != "straight",
    )
