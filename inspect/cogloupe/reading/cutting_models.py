"""Models of what the shape of the gaps tells: what cut them, and which gear an unknown one is.

Sizes come with their standard uncertainties (k = 1); probabilities are among what was tried.
"""

from cogloupe_calibration.file_model import FileModel


class SizeFound(FileModel):
    """A named size with its standard uncertainty."""

    name: str
    value: float
    u_value: float
    unit: str


class CutSituation(FileModel):
    """A way the gaps may have been cut; `resolved` False where nothing of it is seen.

    `side` is where a hob ends too near the centre line: 1 clockwise, -1 anticlockwise.
    """

    kind: str
    situation: str
    probability: float
    misfit_um: float
    resolved: bool
    side: int = 0
    sizes: tuple[SizeFound, ...]


class Cutting(FileModel):
    """What cut the gaps.

    `alike` are the situations that the picture cannot tell apart, likeliest first; `strain` is the
    best one's misfit in standard uncertainties.
    """

    sentence: str
    alike: tuple[str, ...]
    strain: float
    situations: tuple[CutSituation, ...]


class Candidate(FileModel):
    """A standard gear that may be the one on the picture."""

    size: str
    module_mm: float
    diametral_pitch: float
    pressure_angle_deg: float
    rack: str
    profile_shift: float
    u_profile_shift: float
    probability: float
    misfit_um: float


class Likelihood(FileModel):
    """Probability of one value of something, all else summed over."""

    name: str
    probability: float


class Identity(FileModel):
    """Which gear an unknown one is, what to cut its lost twin by, and what the picture leaves open.

    `scale_known` False: nothing told the scale by itself, so the sizes stand only by the module
    that was stated or taken.
    """

    sentence: str
    scale_known: bool
    strain: float
    candidates: tuple[Candidate, ...]
    sizes: tuple[Likelihood, ...]
    pressure_angles: tuple[Likelihood, ...]
    systems: tuple[Likelihood, ...]
    measures: tuple[SizeFound, ...]
    unsettled: tuple[str, ...]
