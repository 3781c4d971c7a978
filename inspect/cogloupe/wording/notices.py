"""The one registry of things a photograph or a flank can be flagged with, and their sentences.

Codes go into reading.json; the sentences are what a person reads. `{}` fields are filled by the
step that raises the flag.
"""

from cogloupe_calibration.file_model import FileModel

SENTENCES: dict[str, str] = {
    "teeth_estimated": "The number of teeth was counted on the picture: {count}.",
    "module_estimated": "No module was given; tips and flanks show {module:.4g} mm ({dp:.4g} DP), "
    "within {percent:.1f} %. Thickness, depth and profile rest on it: give --module where it is "
    "known.",
    "module_unsure": "No module was given, and tips and flanks do not go together: the tips show "
    "{tip:.4g} mm, the flanks' curve {flank:.4g} mm at {angle:g}°{hint}. {module:.4g} mm "
    "({dp:.4g} DP) was taken by the tips, within {percent:.0f} %; thickness, depth and profile "
    "rest on that: give --module, and --pressure-angle, where they are known.",
    "module_from_tips": "No module was given; the tips show {module:.4g} mm ± {percent:.0f} %, by "
    "the usual height of such teeth. The pitch circle, and with it thickness and profile, depends "
    "on it: give --module where it is known.",
    "curve_estimated": "What made the addendum was not stated; the flanks fit {what} best, so the "
    "profile is judged against that.",
    "cycloidal_teeth": "Cycloidal teeth have no pressure angle, span size or tolerance class of "
    "ISO 1328-1; those are left empty.",
    "straight_teeth": "Straight-sided teeth are read for their pitch alone: nothing states their "
    "thickness or profile, so those are left empty.",
    "other_form": "The flanks do not follow the stated {stated} form; they fit {other} teeth "
    "better: if that is what they are, give --form {other}.",
    "pin_on_floor": "A pin of {pin:.4g} mm would rest on the floors of the gaps, not on the "
    "flanks, so runout and eccentricity cannot be told with it: give a thicker one "
    "(--pin-diameter).",
    "scale_from_module": (
        "No scale was given, so the stated module set it: angles and pitch figures stand on their "
        "own, diameters and thicknesses do not."
    ),
    "no_bore": "No round bore was seen, so the teeth themselves are the datum; runout against the "
    "shaft cannot be told.",
    "bore_not_round": "The bore is out of round by {um:.0f} µm; its centre is less sure.",
    "soft_focus": "The edges are soft (blur {blur:.1f} px); a sharper picture measures better.",
    "over_exposed": "{percent:.0f} % of the picture is burnt out; edges there move.",
    "leaning": "The tips lie on an oval ({percent:.1f} % longer than wide): the gear leans by "
    "about {lean:.0f}°, or the lens stretches the picture; lay it flat under the middle of the "
    "lens.",
    "axes_apart": "The middles of {what} lie {um:.0f} µm apart, beyond their U of {limit:.0f} µm: "
    "one was made off the other, or a rim or an edge below the upper face was taken for its own; "
    "take another picture from straight above and farther away to tell which.",
    "bore_or_rim": "The bore stands {um:.0f} µm off the middle of the tips, and the teeth do not "
    "bear it out: it was opened off centre, or its lower rim or its wall is seen, as on a thick "
    "gear from near by. What follows from its place is unsure by that, and the tips are the datum "
    "unless --datum says another; tell with a picture from straight above and farther away, or "
    "with thickness in gear.toml.",
    "bore_no_datum": "The hole in the middle is not round (out by {um:.0f} µm), so it is no datum; "
    "the teeth themselves are. --datum bore takes it all the same.",
    "two_rims": "Both rims of the bore are seen; the upper one was taken, and its middle is sure "
    "to {um:.0f} µm only.",
    "low_contrast": "Gear and ground differ by little ({percent:.0f} % of the full range).",
    "obstructed": "Something lies on these flanks; what is left of them was measured.",
    "not_seen": "These flanks are not seen; their figures are left empty.",
    "cut_off": "Only an arc of the gear is in the picture; what lies outside is left empty, and "
    "the axis is told by the arc alone.",
    "partial": "Only part of these flanks is seen.",
    "lens_not_measured": (
        "The lens was not calibrated; an allowance of {percent:.2g} % distortion at the corner and "
        "{lean:.2g}° of lean (two standard deviations each) is in the uncertainty. A picture of a "
        "grid would make it smaller."
    ),
    "shift_differs": "Teeth are {what} than the rack gives at its full depth by {um:.0f} µm on the "
    "measuring circle (profile shift {shift:+.3f}).",
    "several_gears": "{count} gears are seen; this is number {number} from the left (--pick "
    "chooses another, or all).",
    "two_edges": "Two edges run side by side, {px:.1f} px apart (a bevel or a burr); the {which} "
    "one was measured.",
    "outline_off": "Tips, flanks and floors all lie {um:.0f} µm {side} those of the gear as "
    "stated, which no single fault of cutting does: another edge (of a chamfer, a shadow or the "
    "lower face) may have been taken for the teeth's, or scale and size as stated do not go "
    "together. Sizes are unsure by that; pitches are not.",
    "coarse_pixels": "The teeth are small in the picture ({px:.0f} px deep); come closer.",
    "calibration": "About the calibration: {what}.",
    "size_differs": "The {what} measured by hand and the picture's differ by {um:+.0f} µm, beyond "
    "their U of {limit:.0f} µm: look at the micrometer reading, what it was taken over, and the "
    "scale.",
    "scales_disagree": "A known diameter was given beside a scale, and {what}. The scale was "
    "used; check both.",
    "joined": "{count} partial pictures were joined; {seen} of {teeth_count} teeth are seen whole.",
    "outlying_picture": "{name} strays from the others of its set {times:.1f} times as far as they "
    "do: look at its focus and at what lies on the gear, and take it again or leave it out.",
    "pictures_disagree": "The pictures of the set differ {times:.1f} times as much as each by "
    "itself would; the uncertainty is raised to that. Has focus, light or zoom changed between "
    "them?",
    "turned_little": "The turns between the pictures hardly tell the camera's errors from the "
    "gear's: ± {um:.1f} µm are left on a flank. Turn the gear by about a third of a turn between "
    "three pictures, or take more of them.",
    "lens_by_turning": "The camera's own errors were told from the gear's by turning it: "
    "{px:.2f} px at most on the teeth, undone here. What turned with the gear, as a lean from a "
    "burr under it, would stay in.",
    "sharpened": "The camera sharpens its pictures, which draws a dark and a bright line along "
    "every edge; that was undone. If it can be switched off, edges are surer.",
    "left_out": "What was left out: {part} ({why}). The other figures stand; please report it with "
    "the photograph.",
    "machine_not_read": "The machine could not be taken into account: {why}.",
    "colour_channel": "The gear stood out best in a mixture of the colours, so that was measured.",
}


NOTES = frozenset({
    "teeth_estimated", "cycloidal_teeth", "straight_teeth", "no_bore", "lens_not_measured",
    "two_edges", "joined", "lens_by_turning", "sharpened", "colour_channel", "shift_differs",
    "several_gears", "curve_estimated",
})  # fmt: skip
"""Codes of what is said for knowledge only: nobody need act on it."""


class Notice(FileModel):
    """A sentence for the person, from the registry below."""

    code: str
    message: str
    teeth: tuple[int, ...] = ()

    @property
    def note(self) -> bool:
        """True where it is for knowledge only, and no warning."""
        return self.code in NOTES


def flag(code: str, teeth: tuple[int, ...] = (), **values: object) -> Notice:
    """Make a warning from the registry.

    Parameters
    ----------
    code : str
        A key of `SENTENCES`.
    teeth : tuple of int
        Teeth it concerns, if not the whole picture.
    **values
        What the sentence's fields are filled with.

    Raises
    ------
    KeyError
        Where the code or one of its fields is not known.
    """
    return Notice(code=code, message=SENTENCES[code].format(**values), teeth=teeth)
