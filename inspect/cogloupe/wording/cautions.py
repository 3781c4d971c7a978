"""The one registry of cautions: what a person is told before a hand goes to the machine.

They stand wherever a plan or a named cause leads to the machine. Common practice, no source; they
replace neither the maker's instructions nor local rules.
"""

from typing import Literal

CautionCode = Literal[
    "isolate",
    "cutter",
    "eyes",
    "drill",
    "guard",
    "current",
    "mains",
    "not_for_loads",
    "not_for_acceptance",
]

CAUTIONS: dict[CautionCode, str] = {
    "isolate": "Stop the machine and isolate it from its supply before measuring on it, setting "
    "it, or touching its wiring; wait until spindle and motors stand still.",
    "cutter": "Keep hands, sleeves, hair and rags clear of the turning cutter, and never clear "
    "swarf while it turns.",
    "eyes": "Wear eye protection while cutting, and while clearing swarf and burrs.",
    "drill": "At the drill press clamp the work, wear eye protection, tie back hair and sleeves, "
    "take the key out of the chuck, and follow its maker's instructions.",
    "guard": "Turn a pair by hand first and keep fingers out of the mesh; gears that run under "
    "power belong behind a guard.",
    "current": "Set the motor current no higher than the ratings given by the makers of motor "
    "and driver; let hot parts cool before touching them.",
    "mains": "Follow local rules for mains wiring and leave it to a qualified person.",
    "not_for_loads": "No gears paired by these figures carry people or hold up loads.",
    "not_for_acceptance": "These figures help to cut and mend small gears. They are no means to "
    "accept gears for lifting gear, vehicles, aircraft or medical use.",
}


def cautions_for(*codes: CautionCode) -> tuple[str, ...]:
    """Sentences a person is shown, in the order of the registry.

    The limit of use ("not_for_acceptance") comes last whether or not it was named.

    Parameters
    ----------
    *codes : str
        Keys of `CAUTIONS`, in any order, repeated or not.

    Raises
    ------
    KeyError
        Where a code is not in the registry.
    """
    unknown = set(codes) - set(CAUTIONS)
    if unknown:
        raise KeyError(f"no caution is called {', '.join(sorted(unknown))}")
    wanted = {*codes, "not_for_acceptance"}
    return tuple(sentence for code, sentence in CAUTIONS.items() if code in wanted)
