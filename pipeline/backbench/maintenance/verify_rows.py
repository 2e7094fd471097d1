"""What must hold between the rows of a catalogue's database: grains unique, nothing dangling."""

from __future__ import annotations

from backbench.errors import Fault
from backbench.storage.database import DATABASE_NAME, Database

REBUILD = "make the database anew: `backbench rebuild`"

GRAINS = {
    "bench": "bench_key",
    "metric": "metric",
    "test_point": "point_key",
    "review": "review_key",
    "appearance": "review_key, unit_key",
    "published": "review_key, unit_key, position",
    "capture": "review_key, position",
    "refused_entry": "review_key, kind, position, name",
    "analysis": "review_key, analysis_key",
    "analysis_capture": "review_key, analysis_key, sha256",
    "environment": "environment_key",
    "reading": "reading_key",
    "reading_point": "review_key, reading_key, point_key",
    "entered": "reading_key",
    "computed_with": "review_key, input_range",
}
"""Columns that together name a row; the tables carry no keys of their own."""

SESSIONS = "metric, unit_key, period, sessions"
"""Of what is kept between sessions: all that doesn't depend on the order values are added up in."""

DANGLING = {
    "a reading without its analysis": (
        "SELECT reading_key FROM reading ANTI JOIN analysis USING (review_key, analysis_key)"
    ),
    "a reading that leads to no original": (
        "SELECT reading_key FROM reading "
        "ANTI JOIN analysis_capture USING (review_key, analysis_key)"
    ),
    "a curve without its analysis": (
        "SELECT curve || ' of ' || unit_key FROM curve "
        "ANTI JOIN analysis USING (review_key, analysis_key)"
    ),
    "an analysis without the versions that it ran with": (
        "SELECT analysis_key FROM analysis ANTI JOIN environment USING (environment_key)"
    ),
    "an analysed capture without its analysis": (
        "SELECT file FROM capture ANTI JOIN analysis USING (review_key, analysis_key) "
        "WHERE status = 'analysed'"
    ),
    "an original of no review": (
        "SELECT sha256 FROM analysis_capture ANTI JOIN review USING (review_key)"
    ),
    "a capture of no review": "SELECT file FROM capture ANTI JOIN review USING (review_key)",
    "a refused entry of no review": (
        "SELECT name FROM refused_entry ANTI JOIN review USING (review_key)"
    ),
    "a reading of no review": "SELECT reading_key FROM reading ANTI JOIN review USING (review_key)",
    "a unit of no review": "SELECT unit_key FROM appearance ANTI JOIN review USING (review_key)",
    "a review without units": "SELECT review_key FROM review ANTI JOIN appearance "
    "USING (review_key)",
    "a test point's reading that is not there": (
        "SELECT reading_key FROM reading_point ANTI JOIN reading USING (review_key, reading_key)"
    ),
    "a reading of a unit that its review hasn't": (
        "SELECT reading_key FROM reading ANTI JOIN appearance USING (review_key, unit_key) "
        "WHERE unit_key <> ''"
    ),
    "an entered reading without where it was written": (
        "SELECT reading_key FROM reading ANTI JOIN entered USING (review_key, reading_key) "
        "WHERE status = 'entered'"
    ),
    "a written figure without its reading": (
        "SELECT origin FROM entered ANTI JOIN reading USING (review_key, reading_key)"
    ),
    "a kept value at a test point that is not what its reading says": (
        "SELECT reading_key FROM (FROM value_at_point SELECT * EXCLUDE (offset_u) "
        "EXCEPT ALL FROM worked_out_at_point SELECT * EXCLUDE (offset_u))"
    ),
    "a value at a test point that is not kept": (
        "SELECT reading_key FROM worked_out_at_point "
        "ANTI JOIN value_at_point USING (review_key, reading_key, point_key)"
    ),
    "a kept spread of other sessions than a unit was measured in": (
        f"SELECT unit_key FROM (SELECT {SESSIONS} FROM between_sessions EXCEPT ALL "
        f"SELECT {SESSIONS} FROM worked_out_between_sessions(NULL))"
    ),
    "a spread between sessions that is not kept": (
        "SELECT unit_key FROM worked_out_between_sessions(NULL) "
        "ANTI JOIN between_sessions USING (metric, unit_key, period)"
    ),
    "a reading of an unknown metric": (
        "SELECT reading_key FROM reading ANTI JOIN metric USING (metric)"
    ),
}


def row_faults(store: Database) -> list[Fault]:
    """One fault for each rule that rows break, with their number and the first of them."""
    faults: list[Fault] = []
    for table, grain in GRAINS.items():
        rows = store.rows(
            f"SELECT concat_ws(', ', {grain}), count(*) FROM {table} "
            f"GROUP BY {grain} HAVING count(*) > 1 ORDER BY ALL"
        )
        if rows:
            repeats = f"{len(rows)} keys more than once, first {rows[0][0]}"
            faults.append(Fault(f"{DATABASE_NAME}, {table}", repeats, f"{grain} unique", REBUILD))
    for what, sql in DANGLING.items():
        rows = store.rows(f"{sql} ORDER BY ALL")
        if rows:
            repeats = f"{what}, {len(rows)} times, first {rows[0][0]}"
            faults.append(Fault(DATABASE_NAME, repeats, "none", REBUILD))
    return faults
