"""The tables that hold rows of a review."""

from __future__ import annotations

ANALYSIS_TABLES = ("reading", "curve", "analysis")
"""Their rows stand as long as the analysis that they are of."""
WRITTEN_TABLES = (
    "review", "appearance", "published", "capture", "entered", "refused_entry",
    "analysis_capture", "reading_point", "computed_with", "heard",
)  # fmt: skip
"""Their rows are written again whenever the review is loaded."""
KEPT_TABLES = ("value_at_point",)
"""Their rows are worked out anew for every unit of the review, once it is loaded or withdrawn."""
