"""The chain that turns the work: hob, encoder, pulse accumulator, motor, gearing, play.

Angles are radians of the work; turns are whole revolutions.
"""

from dataclasses import dataclass
from math import exp, pi, radians

import numpy as np
from scipy.signal import lfilter

from cogloupe.simulation.process import Process
from cogloupe_calibration.arrays import Floats

ARCMIN = radians(1 / 60)
"""Radians of a minute of arc."""
# Unsteady running keeps for about one turn of the hob.
JITTER_HOB_TURNS = 1.0
# Drag that holds the work still in its play, in standard deviations of a full cut's force.
DRAG = 1.0


@dataclass(frozen=True)
class Moments:
    """The moments at which cutting edges pass (hob), or at which a gap is set (form cutter).

    Each is (n,): turns of the hob since the first cut, turns the work should have made, and cutting
    load, 1 in a full cut of the whole depth.
    """

    hob_turns: Floats
    work_turns: Floats
    load: Floats


def work_error(process: Process, teeth: int, moments: Moments, rng: np.random.Generator) -> Floats:
    """Angle (n,), rad, by which the work is ahead of where it should be.

    Pulses, unsteadiness and play have a random stream each, so that moments added at the end of a
    list leave the earlier ones as they were.
    """
    pulses, unsteady, play = rng.spawn(3)
    driven = _driven_turns(process, teeth, moments, pulses)
    error = 2 * pi * (driven - moments.work_turns)
    error += _gearing(process, moments) + _jitter(process, moments, unsteady)
    return np.asarray(error + _play(process, moments, play))


def _driven_turns(
    process: Process, teeth: int, moments: Moments, rng: np.random.Generator
) -> Floats:
    """Turns of the work that the motor's rotor asks of the gearing."""
    turns = moments.work_turns
    if process.encoder_pulses is not None:
        counted = _counted(process, process.encoder_pulses, moments.hob_turns, rng)
        turns = counted / process.encoder_pulses * process.hob_starts / teeth
    turns = turns * (1 + process.ratio_error)
    if process.steps_per_turn is None:
        return turns
    # The accumulator starts half full, so a step falls due half a step early. The small addition
    # keeps a step that falls due on a pulse from being lost to rounding.
    steps = np.floor(turns * process.steps_per_turn + 0.5 + 1e-9)
    steps += sum(lost.steps * (moments.work_turns >= lost.turn) for lost in process.lost_steps)
    return np.asarray((steps - process.lag_steps * moments.load) / process.steps_per_turn)


def _counted(process: Process, pulses: int, hob_turns: Floats, rng: np.random.Generator) -> Floats:
    """Pulses counted so far, with the false and without the missing ones.

    False and missing pulses fall at random moments, independently (Poisson), and stay counted.
    """
    passed = np.floor(hob_turns * pulses + 1e-9)
    since = np.diff(hob_turns, prepend=hob_turns[:1])
    noise, gaps = rng.spawn(2)
    false = noise.poisson(process.false_pulses * since)
    missing = gaps.poisson(process.missing_pulses * since)
    return np.asarray(passed + np.cumsum(false - missing))


def _gearing(process: Process, moments: Moments) -> Floats:
    """Periodic errors of worm, belt or dividing wheel."""
    error = np.zeros_like(moments.work_turns)
    for part in process.periodic:
        phase = 2 * pi * part.per_turn * moments.work_turns + radians(part.phase_deg)
        error += part.amplitude_arcmin * ARCMIN * np.sin(phase)
    return error


def _jitter(process: Process, moments: Moments, rng: np.random.Generator) -> Floats:
    """Unsteady running: a wandering angle that forgets itself in about a turn of the hob.

    Settings of a form cutter have nothing to do with each other.
    """
    start = rng.normal()
    white = rng.normal(0, 1, len(moments.hob_turns))
    kept = 0.0
    if process.kind == "hob":
        kept = exp(-1 / (process.gashes * JITTER_HOB_TURNS))
    fresh = np.sqrt(1 - kept**2)
    wander, _ = lfilter([fresh], [1, -kept], white, zi=np.array([kept * start]))
    return np.asarray(process.jitter_arcmin * ARCMIN * wander)


def _play(process: Process, moments: Moments, rng: np.random.Generator) -> Floats:
    """Place of the work within its play.

    Assumed: each cutting edge pulls the work with a random force of standard deviation `load`.
    What exceeds the drag moves it that way, over the whole play for an excess of one; the ends of
    the play stop it, and a smaller force leaves it where it is.
    """
    play = process.backlash_arcmin * ARCMIN
    if play == 0:
        return np.zeros_like(moments.load)
    force = rng.normal(0, 1, len(moments.load)) * moments.load
    moves = np.sign(force) * np.maximum(np.abs(force) - DRAG, 0.0)
    place, places = 0.0, np.empty_like(moves)
    for index, move in enumerate(moves.tolist()):
        place = min(max(place + move, -0.5), 0.5)
        places[index] = place
    return places * play
