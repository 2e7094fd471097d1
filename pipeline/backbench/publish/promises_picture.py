"""Every specification of the catalogue beside what was measured, as a picture of the site."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

from backbench.comparison.catalogue_promises import catalogue_promises
from backbench.publish.sheet_charts import ChartRenderer, Picture

TITLE = "Specifications beside what was measured"
ALT = f"Chart: {TITLE}. The page of each unit has its specifications in a table."


def promises_picture(renderer: ChartRenderer) -> Picture | None:
    """The picture for a page, with the one for a phone; None where nothing was held against one."""
    frame = catalogue_promises(renderer.store)
    if frame["margin_db"].drop_nulls().is_empty():
        return None
    from backbench.charts.drawing import PAGE, PHONE
    from backbench.charts.promises import promises_chart

    source = f"{frame.schema} {frame.write_json()}"
    wide, phone = (
        renderer.picture(
            f"{TITLE} {source} {size}", TITLE, partial(promises_chart, frame, size=size)
        )
        for size in (PAGE, PHONE)
    )
    return replace(wide, alt=ALT, narrow=replace(phone, alt=ALT))
