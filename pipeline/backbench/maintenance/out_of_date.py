"""What of a catalogue `recompute` would bring up to date: by calibrations, and by methods."""

from __future__ import annotations

from backbench.comparison.stale_figures import Stale
from backbench.metrics.method_versions import methods
from backbench.quantities.sentences import first_few
from backbench.storage.database import Database

FEW = 3
OLDER = """
SELECT review_key, first(title ORDER BY metric), count(DISTINCT metric)
FROM (SELECT DISTINCT review_key, metric, method_version FROM reading)
JOIN (SELECT unnest($metrics) AS metric, unnest($titles) AS title, unnest($versions) AS version)
USING (metric)
WHERE method_version < version
GROUP BY review_key ORDER BY review_key
"""


def out_of_date(store: Database, corrected: Stale) -> list[str]:
    """A line for each reason, with the reviews that it touches; nothing where all is up to date.

    corrected: figures whose bench's settings were corrected since.
    """
    stale = corrected.reviews
    reasons = dict.fromkeys(reason for found in stale.values() for reason in found)
    lines = [f"{first_few(stale, FEW)}: {'; '.join(reasons)}"] if stale else []
    known = methods()
    older = store.rows(OLDER, {
        "metrics": [*known],
        "titles": [method.title for method in known.values()],
        "versions": [method.version for method in known.values()],
    })  # fmt: skip
    if older:
        most = max(number for _, _, number in older)
        lines.append(
            f"{first_few((str(key) for key, _, _ in older), FEW)}: measured by earlier methods "
            f"({older[0][1]}" + (f" and {most - 1} more" if most > 1 else "") + ")"
        )
    return lines
