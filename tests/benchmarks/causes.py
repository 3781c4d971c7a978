"""How often the right cause is named: python -m tests.benchmarks.causes

Cuts gears with one fault each, reads them with errors of stated size, and ranks the causes.
"""

import os
from collections import Counter
from dataclasses import dataclass, replace
from multiprocessing import Pool

import numpy as np
from tests.benchmarks.causes_gears import (
    FAULTS,
    Cut,
    cut_with,
    drawn,
    fault_named,
    figures,
    machine_of,
    noise_for,
    pattern_strength,
    scene_of,
    strength,
    whitened,
)
from tests.benchmarks.common import make_case, report, table
from tests.helpers.stated_figures import MeasuringErrors
from tests.helpers.stated_reading import stated_reading

from cogloupe.causes.diagnosis import rank
from cogloupe.causes.machine_units import Case
from cogloupe.causes.model import fresh
from cogloupe.causes.observed_pattern import observe
from cogloupe.inspection import inspect_photo

SEED = 90_000
"""Of this study. Priors and scatter lengths of the table were set on gears of other seeds."""
EACH, GOOD = 14, 200
LENSES = (0.05, 0.3, 1.0)
"""Shares of the allowance for an unmeasured lens: measured on a grid, roughly, not at all."""
STRONG = 3.0


@dataclass(frozen=True, kw_only=True)
class Trial:
    """One reading and what was made of it.

    Attributes
    ----------
    fault, cause : str
    strength : float
        Pattern in expanded uncertainties.
    named : tuple of str
        Codes, likeliest first.
    share : float
        Probability given to the first.
    off : float
        Error of the size over its U; NaN where the cause was not named or has none.
    """

    fault: str
    cause: str
    strength: float
    named: tuple[str, ...]
    share: float
    off: float

    @property
    def right(self) -> bool:
        """The first cause named is the right one."""
        return fault_named(self.fault).rightly(self.named[0])

    @property
    def among_two(self) -> bool:
        """One of the first two is."""
        return any(map(fault_named(self.fault).rightly, self.named[:2]))


def trial(job: tuple[Cut, int]) -> Trial:
    """Read a gear once and rank.

    Parameters
    ----------
    job : (Cut, int)
        The gear and the seed of the errors.

    Returns
    -------
    Trial
    """
    cut, seed = job
    rng = np.random.default_rng(seed)
    fault = fault_named(cut.fault)
    errors = MeasuringErrors(lens=float(rng.choice(LENSES)), scale=float(rng.choice([2e-4, 1e-3])))
    if fault.cause == "none":
        errors = errors.times(float(rng.choice([0.5, 1.0, 3.0])))
        size = 0.0
    else:
        errors = errors.times(noise_for(cut, rng.uniform(0.5, 5.0), errors))
        size = strength(cut, errors)
    machine = machine_of(fault, rng)
    case = Case(observe(stated_reading(cut.made, errors, rng)), machine)
    ranked = rank(case, fresh(case.observed)).ranked
    off = float("nan")
    if fault.size is not None and ranked[0].cause.code == fault.cause:
        found = ranked[0].cause.sizes(ranked[0].fit, case)
        if found:
            got = found[fault.place]
            off = (got.value - fault.size(cut)) / (2 * got.u)
    return Trial(
        fault=fault.name,
        cause=fault.cause,
        strength=size,
        named=tuple(r.cause.code for r in ranked),
        share=ranked[0].share,
        off=off,
    )


@dataclass(frozen=True, kw_only=True)
class Pictured:
    """One gear through a rendered picture, and the same gear without.

    Attributes
    ----------
    fault, cause : str
    strength : float
        By the uncertainties of the picture's reading.
    named, without : tuple of str
        Codes, likeliest first: from the picture, and from the truth with the same uncertainties.
    misfit : float
        Mean square of what the picture's figures are off, whitened by their covariance; 1 is right.
    """

    fault: str
    cause: str
    strength: float
    named: tuple[str, ...]
    without: tuple[str, ...]
    misfit: float

    def right(self, named: tuple[str, ...]) -> bool:
        """The first cause named is a right one."""
        return fault_named(self.fault).rightly(named[0])


def pictured(job: tuple[str, int]) -> Pictured:
    """Cut a gear, picture it, read the picture and rank.

    Parameters
    ----------
    job : (str, int)
        Fault's name and seed.

    Returns
    -------
    Pictured
    """
    fault, rng = fault_named(job[0]), np.random.default_rng(job[1] + 1)
    cut = cut_with(fault, job[1], pictured=True)
    machine = machine_of(fault, rng)
    case = make_case(scene_of(cut, job[1]))
    observed = observe(inspect_photo(case.photo, case.settings)[0])
    true = figures(cut.made)
    off = whitened(observed, observed.value - true)
    again = replace(observed, value=true + drawn(observed, rng))
    ranked = [
        tuple(r.cause.code for r in rank(Case(o, machine), fresh(o)).ranked)
        for o in (observed, again)
    ]
    size = pattern_strength(observed, cut.change) if fault.cause != "none" else 0.0
    return Pictured(
        fault=fault.name,
        cause=fault.cause,
        strength=size,
        named=ranked[0],
        without=ranked[1],
        misfit=float(np.mean(off**2)),
    )


def cut_job(job: tuple[str, int]) -> Cut:
    """Cut a gear in a process of its own.

    Parameters
    ----------
    job : (str, int)
        Fault's name and seed.

    Returns
    -------
    Cut
    """
    return cut_with(fault_named(job[0]), job[1])


def gears(seed: int, each: int, good: int) -> list[tuple[str, int]]:
    """Which gears are cut.

    Parameters
    ----------
    seed, each, good : int

    Returns
    -------
    list of (str, int)
    """
    jobs = [("good", seed + k) for k in range(max(good // 10, 1))]
    names = [fault.name for fault in FAULTS if fault.cause != "none"]
    return jobs + [(n, seed + 1000 * (i + 1) + k) for i, n in enumerate(names) for k in range(each)]


def run(seed: int, each: int, good: int) -> list[Trial]:
    """All trials.

    Parameters
    ----------
    seed, each, good : int

    Returns
    -------
    list of Trial
    """
    with Pool(2, initializer=os.nice, initargs=(10,)) as pool:
        cuts = pool.map(cut_job, gears(seed, each, good), chunksize=4)
        jobs = []
        for k, cut in enumerate(cuts):
            again = 10 if cut.fault == "good" else 1
            jobs += [(cut, seed + 500_000 + 10 * k + i) for i in range(again)]
        return pool.map(trial, jobs, chunksize=4)


def confusion(trials: list[Trial]) -> str:
    """What was named first, by fault."""
    codes = sorted({t.cause for t in trials} | {t.named[0] for t in trials})
    short = {code: str(k + 1) for k, code in enumerate(codes)}
    rows = []
    for fault in FAULTS:
        mine = [t for t in trials if t.fault == fault.name]
        seen = Counter(t.named[0] for t in mine)
        if mine:
            rows.append([fault.name, short[fault.cause], *(seen[c] or "" for c in codes)])
    names = "; ".join(f"{short[c]} {c}" for c in codes)
    return f"{names}.\n\n" + table(["fault", "is", *short.values()], rows)


def _share(values: list[bool]) -> str:
    return f"{100 * np.mean(values):.1f} % of {len(values)}" if values else "-"


def by_strength(trials: list[Trial]) -> str:
    """Share of right causes by the strength of the pattern."""
    rows = []
    for low, high in ((0.5, 1), (1, 2), (2, 3), (3, 99)):
        mine = [t for t in trials if t.cause != "none" and low <= t.strength < high]
        rows.append([
            f"{low} to {high}" if high < 99 else f"above {low}",
            _share([t.right for t in mine]),
            _share([t.among_two for t in mine]),
            _share([t.named[0] == "none" for t in mine]),
            _share([t.named[0] != "none" and not t.right for t in mine]),
        ])  # fmt: skip
    return table(["pattern over its U", "right", "among two", "none named", "another"], rows)


def by_fault(trials: list[Trial]) -> str:
    """Strong patterns, fault by fault."""
    rows = []
    for fault in FAULTS:
        mine = [t for t in trials if t.fault == fault.name and t.strength >= STRONG]
        sized = [abs(t.off) <= 1 for t in trials if t.fault == fault.name and np.isfinite(t.off)]
        if fault.cause != "none":
            rows.append([
                fault.name, fault.cause, _share([t.right for t in mine]),
                _share([t.among_two for t in mine]), _share(sized),
            ])  # fmt: skip
    return table(["fault", "cause", "right above 3 U", "among two", "size within U"], rows)


def odds(trials: list[Trial]) -> str:
    """Whether stated probabilities of causes come true."""
    trials = [t for t in trials if t.named[0] != "none"]
    rows = []
    for low, high in ((0, 0.5), (0.5, 0.8), (0.8, 0.95), (0.95, 0.99), (0.99, 1.01)):
        mine = [t for t in trials if low <= t.share < high]
        if mine:
            stated = float(np.mean([t.share for t in mine]))
            rows.append([f"{low:g} to {min(high, 1):g}", stated,
                         _share([t.right for t in mine])])  # fmt: skip
    return table(["probability given to a named cause", "mean", "right"], rows)


def summary(trials: list[Trial]) -> str:
    """The figures asked for."""
    strong = [t for t in trials if t.strength >= STRONG]
    good = [t for t in trials if t.cause == "none"]
    sized = [t for t in trials if np.isfinite(t.off)]
    rows = [
        ["right, pattern above 3 U", _share([t.right for t in strong])],
        ["among two, pattern above 3 U", _share([t.among_two for t in strong])],
        ["a cause named on good gears", _share([t.named[0] != "none" for t in good])],
        ["size within U, cause rightly named", _share([abs(t.off) <= 1 for t in sized])],
    ]
    return table(["", ""], rows)


def through_pictures(seed: int) -> str:
    """Gears through rendered pictures: is the reading from the truth an honest stand-in?"""
    names = [*(fault.name for fault in FAULTS if fault.cause != "none"), "good", "good", "good"]
    with Pool(2, initializer=os.nice, initargs=(10,)) as pool:
        found = pool.map(pictured, [(n, seed + 1000 * k) for k, n in enumerate(names)], chunksize=1)
    rows = [
        [p.fault, p.cause, p.strength, ", ".join(p.named[:2]), p.without[0], p.misfit]
        for p in found
    ]
    strong = [p for p in found if p.strength >= STRONG or p.cause == "none"]
    says = (
        f"Right on pictures (pattern above 3 U, or good): "
        f"{_share([p.right(p.named) for p in strong])}; from the truth with the same "
        f"uncertainties: {_share([p.right(p.without) for p in strong])}. Misfit is the mean "
        "square error of the picture's figures, in their uncertainties: 1 is honest, below 1 "
        "careful.\n\n"
    )
    head = ["fault", "cause", "pattern over U", "named on the picture", "from the truth", "misfit"]
    return says + table(head, rows)


def main() -> None:
    """Run the study and write its table."""
    trials = run(SEED, EACH, GOOD)
    faulty = sum(t.cause != "none" for t in trials)
    report(
        "causes",
        "Causes named from readings of simulated gears",
        [
            f"{faulty} gears with one fault each and {len(trials) - faulty} readings of "
            f"{max(GOOD // 10, 1)} good ones, read with errors such that the pattern is 0.5 to 5 "
            "times its expanded uncertainty (a scatter: up to what its own chance allows). What is "
            "cut beside its place, deeper by a cutter that runs out, or wider by one that wobbles "
            "leaves the pattern of its class whatever made it, and counts as that. Counted as "
            "right too, because one gear's picture cannot part them or the row names them: "
            + "; ".join(f"{f.name}: {', '.join(f.also)}" for f in FAULTS if f.also)
            + ".\n",
            summary(trials), by_strength(trials), by_fault(trials), confusion(trials), odds(trials),
            through_pictures(SEED + 900_000),
        ],
    )  # fmt: skip


if __name__ == "__main__":
    main()
