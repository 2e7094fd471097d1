"""Every specification of the catalogue beside what was measured, as a picture of the site."""

from __future__ import annotations

from dataclasses import replace

from backbench.comparison.catalogue_promises import catalogue_promises
from backbench.publish.sheet_charts import ChartRenderer, Picture

TITLE = "Specifications beside what was measured"
ALT = f"Chart: {TITLE}. The page of each unit has its specifications in a table."


def promises_picture(renderer: ChartRenderer) -> Picture | None:
    """The picture for a page, with the one for a phone; None where nothing was held against one."""
    frame = catalogue_promises(renderer.store)
    if frame["margin_db"].drop_nulls().is_empty():
        return None
    from backbench.charts.drawing import PHONE
    from backbench.charts.promises import promises_chart
    from backbench.charts.unchecked import specification

    wide = renderer.picture(specification(promises_chart(frame)), TITLE)
    phone = renderer.picture(specification(promises_chart(frame, size=PHONE)), TITLE)
    return replace(wide, alt=ALT, narrow=replace(phone, alt=ALT))
