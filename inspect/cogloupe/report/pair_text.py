"""What is said of a pair: the verdict, what follows from it, and what to mind."""

from math import degrees, gcd, isnan

from cogloupe.forms.rack import Gear
from cogloupe.pairing.backlash import Spot
from cogloupe.pairing.clearance import Least
from cogloupe.pairing.pair import Pairing
from cogloupe.pairing.running_gear import RunningGear
from cogloupe.wording.cautions import cautions_for
from cogloupe.wording.numbers import COVERAGE, rounded, with_uncertainty
from cogloupe_calibration.units import MM_PER_INCH

WAYS = ("anticlockwise", "clockwise")
"""How A turns while left and right flanks drive, as seen on its picture."""
CAUTIONS = cautions_for("drill", "guard", "not_for_loads")


def pair_title(pairing: Pairing) -> str:
    """Name a pair."""
    return f"{pairing.mesh.a.name} with {pairing.mesh.b.name}"


def mm(value: float, u: float) -> str:
    """A length with its U, the figure told even where it is smaller than that."""
    number, limit = rounded(value, u)
    return f"{number} mm" if limit is None else f"{number} ± {limit} mm"


def both(value: float, u: float) -> str:
    """The same in millimetres and inches."""
    number, limit = rounded(value / MM_PER_INCH, u / MM_PER_INCH)
    return f"{mm(value, u)} ({number}{'' if limit is None else f' ± {limit}'} in)"


def minutes(angle: float) -> str:
    """An angle as minutes of arc."""
    return f"{60 * degrees(angle):.3g}′"


def headline(pairing: Pairing) -> str:
    """The one thing to know of a pair."""
    least, mean = pairing.backlash.least, pairing.backlash.mean
    window, room = pairing.window, pairing.room
    at = f"{pairing.mesh.centre_mm:.3f} mm"
    said = {
        "cannot_run": lambda: f"These two can't run: {window.low.why} up to "
        f"{mm(window.low.distance, window.low.u)}, but the contact ratio has fallen to one at "
        f"{mm(window.high.distance, window.high.u)}.",
        "tight": lambda: _tight(pairing, at),
        "ratio": lambda: f"Contact ratio below one: at {at} it is "
        f"{with_uncertainty(room.ratio.value, room.ratio.u, '')} where tooth "
        f"{room.ratio.number_a} runs on tooth {room.ratio.number_b}, so the drive is lost between "
        "them.",
        "fillet": lambda: _into_fillets(pairing, at),
        "play": lambda: f"Too much play: {mm(mean.value, mean.u)} of backlash on average at {at}.",
        "perhaps_tight": lambda: f"Cannot tell whether it runs freely at {at}: the backlash is "
        f"{mm(least.value, least.u)} {_where(pairing)}.",
        "free": lambda: f"Runs freely at {at}: the least backlash is {mm(least.value, least.u)}, "
        f"{_where(pairing)}.",
    }  # fmt: skip
    return said[pairing.verdict]()


def _where(pairing: Pairing) -> str:
    return f"at {spot_text(pairing, pairing.backlash.tightest[0])}"


def spot_text(pairing: Pairing, spot: Spot) -> str:
    """Which teeth make a tight spot."""
    a, b = pairing.mesh.a.name, pairing.mesh.b.name
    whose, tooth, gap = spot.squeezed
    if whose == "a":
        return f"tooth {tooth} of {a} on gap {gap} of {b}"
    if whose == "b":
        return f"tooth {tooth} of {b} on gap {gap} of {a}"
    return (
        f"teeth {spot.left[0]} and {spot.right[0]} of {a} on teeth {spot.left[1]} and "
        f"{spot.right[1]} of {b}"
    )


def _tight(pairing: Pairing, at: str) -> str:
    least, room = pairing.backlash.least, pairing.room
    tips = min((room.tips_a, "tips_a"), (room.tips_b, "tips_b"), key=lambda one: one[0].value)
    if least.value > 0:
        return f"Tips touch floors at {at}: {_tips(tips[0], tips[1])}."
    missing = mm(-least.value, least.u)
    return f"Tight {_where(pairing)}: at {at} {missing} of backlash are missing there."


def _tips(least: Least, which: str) -> str:
    what = ("tooth", "gap") if which == "tips_a" else ("gap", "tooth")
    pair = f"{what[0]} {least.number_a} and {what[1]} {least.number_b}"
    return f"{mm(least.value, least.u)} of room between {pair}"


def _into_fillets(pairing: Pairing, at: str) -> str:
    """Which tips run into which fillets, and by how much."""
    mesh, room = pairing.mesh, pairing.room
    own_a = room.fillet_a.value < room.fillet_b.value
    least, own, mate = (room.fillet_a, mesh.a, mesh.b) if own_a else (room.fillet_b, mesh.b, mesh.a)
    places = (least.number_a, least.number_b) if own_a else (least.number_b, least.number_a)
    return (
        f"The tips of {mate.name} run into the fillets of {own.name} at {at}, "
        f"{mm(-least.value, least.u)} of flank below where they begin, at gap {places[0]} and "
        f"tooth {places[1]}."
    )


def next_step(pairing: Pairing) -> str:
    """What to do."""
    drilling, window = pairing.drilling, pairing.window
    low, high = window.low.distance, window.high.distance
    given = isnan(drilling.wanted)
    if pairing.verdict == "cannot_run":
        return "cut one of them deeper, or one with other teeth; no centre distance serves."
    if pairing.verdict in ("tight", "fillet"):
        return f"put the centres {low:.3f} mm apart or more, but less than {high:.3f} mm."
    if pairing.verdict in ("ratio", "play"):
        return f"put the centres nearer, from {low:.3f} mm on."
    drill = f"drill the holes {both(drilling.distance.value, drilling.distance.u)} apart"
    if pairing.verdict == "perhaps_tight":
        better = "a sharper picture at a finer scale, or a better known scale, makes U smaller"
        return f"{better}; or leave one centre adjustable and set it by feel." if given else (
            f"{drill} with one centre adjustable, and set it by feel; {better}."
        )  # fmt: skip
    if given:
        return f"{drill}, if they are not there yet."
    kept = f"{1000 * drilling.tolerance:.0f} µm to either side leave half to one and a half times"
    return f"{drill}; {kept} the least backlash."


def findings(pairing: Pairing) -> list[str]:
    """What else a person should know, in the order of the work."""
    per, window = pairing.drilling.per_mm, pairing.window
    range_told = (
        f"They run from {mm(window.low.distance, window.low.u)}, below which {window.low.why}, to "
        f"{mm(window.high.distance, window.high.u)}, where the {window.high.why}."
    )
    return [
        f"Each thou (or hundredth) of centre distance changes the backlash by {per:.2f} of one.",
        *([] if window.empty else [range_told]),
        which_teeth(pairing),
        eccentricities(pairing),
    ]


def which_teeth(pairing: Pairing) -> str:
    """Which teeth to put together, and what that gains."""
    a, b, starts = pairing.mesh.a, pairing.mesh.b, pairing.starts
    if gcd(a.teeth, b.teeth) == 1:
        return (
            f"It does not matter which teeth start together: with {a.teeth} and {b.teeth} teeth "
            "every tooth comes to meet every gap."
        )
    least, most = min(starts.total_um), max(starts.total_um)
    u = max(way.total.u for way in pairing.ways)
    mark = f"tooth {starts.best[0]} of {a.name} in gap {starts.best[1]} of {b.name}"
    gain = f"the total error is then {least:.0f} µm, and {most:.0f} µm from the worst start"
    if most - least < COVERAGE * u:
        return (
            f"Which teeth start together matters less than U ({COVERAGE * u:.0f} µm): with {mark} "
            f"{gain}."
        )
    return f"Mark {mark}: {gain} (U {COVERAGE * u:.0f} µm)."


def eccentricities(pairing: Pairing) -> str:
    """What the run-outs do to each other."""
    a, b = pairing.mesh.a, pairing.mesh.b
    parts = pairing.ways[1].parts
    if a.doubts is None or b.doubts is None:
        named, own = (b, parts.run_out_b) if a.doubts is None else (a, parts.run_out_a)
        return f"Run-out puts {own.value:.0f} µm into a turn of {named.name}."
    told = (
        f"Run-out puts {parts.run_out_a.value:.0f} µm into a turn of {a.name} and "
        f"{parts.run_out_b.value:.0f} µm into one of {b.name}"
    )
    if a.teeth == b.teeth:
        return (
            f"{told}; they come round together, and from this start leave {parts.together:.0f} µm."
        )
    added = parts.run_out_a.value + parts.run_out_b.value
    return f"{told}; as their turns differ they come to add up, to {added:.0f} µm at most."


def notes(pairing: Pairing) -> list[str]:
    """What the figures leave out, and what was taken for granted."""
    a, b = pairing.mesh.a, pairing.mesh.b
    said = [line for gear in (a, b) for line in _notes_of(gear)]
    if not isinstance(a.wheel, Gear):
        touch = a.wheel.reference_radius + b.wheel.reference_radius
        said.append(
            f"Cycloidal teeth run evenly only where their pitch circles touch, at {touch:.3f} mm."
        )
    known = pairing.backlash.known
    if known < 1:
        said.append(
            f"At {100 * (1 - known):.0f} % of the mesh positions a flank that might touch was not "
            "seen: those are left open, and figures stand for the others."
        )
    said.append(
        "Both gears lie as on their pictures, the photographed faces to one side. Play of the pins "
        "in their holes comes on top, and tips are taken for sharp."
    )
    return said


def _notes_of(gear: RunningGear) -> list[str]:
    said = []
    if gear.doubts is None:
        said.append(f"{gear.name} is the perfect gear of theory, so only the other's errors show.")
    elif not gear.axis_seen:
        said.append(
            f"No bore of {gear.name} was seen: it is taken to turn about the axis of its teeth, so "
            "its run-out on a pin is not in these figures."
        )
    if gear.covered:
        told = ", ".join(f"{number} {side}" for number, side in gear.covered)
        said.append(
            f"Something lies on flanks of {gear.name} ({told}); what it would do in the mesh is "
            "not in these figures. Clean them, or look for burrs."
        )
    return said
