"""The history of attempts, row by row."""

from collections.abc import Sequence
from typing import Any

from cogloupe.comparing.attempts import Attempt
from cogloupe.comparing.compare import Comparison
from cogloupe.comparing.compared_figures import KINDS, Value
from cogloupe.report.compare_text import VERDICTS, value_text

HISTORY_FIGURES = (
    ("scatter", "spread less once a turn"),
    ("single", "largest single pitch"),
    ("total", "total cumulative pitch"),
    ("runout", "runout"),
    ("thickness", "tooth thickness"),
)
_UNITS = {kind.key: kind.unit for kind in KINDS}


def history_rows(
    attempts: Sequence[Attempt], values: Sequence[dict[str, Value]], steps: Sequence[Comparison]
) -> list[dict[str, Any]]:
    """Rows of the history, one an attempt, from figures by their keys and the steps between."""
    rows = []
    for k, (attempt, figures) in enumerate(zip(attempts, values, strict=True)):
        step = steps[k - 1].changes[0] if k else None
        trial = attempt.trial
        rows.append({
            "number": k + 1, "label": attempt.label,
            "date": attempt.date.isoformat() if attempt.date else "",
            "changed": trial.changed if trial else "", "note": trial.note if trial else "",
            "figures": [value_text(figures[key], _UNITS[key]) for key, _ in HISTORY_FIGURES],
            "verdict": VERDICTS[step.verdict] if step else "", "kind": step.verdict if step else "",
        })  # fmt: skip
    return rows


def unnoted(attempts: Sequence[Attempt], steps: Sequence[Comparison]) -> list[str]:
    """Steps at which nothing was changed, and yet the answer is that something did."""
    return [
        f"Nothing was changed before {attempt.label}, and yet its spacing is "
        f"{VERDICTS[step.changes[0].verdict]}: something varies by itself that the log does not "
        "have. Find that first; until then no change can be judged by one gear."
        for attempt, step in zip(attempts[1:], steps, strict=True)
        if attempt.trial is not None and attempt.trial.repeats and step.changes[0].resolved
    ]
