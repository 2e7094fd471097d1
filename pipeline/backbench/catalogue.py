"""A catalogue folder opened: the Python face of everything."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from contextvars import ContextVar
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from backbench.documents.file_names import SETTINGS_NAME
from backbench.documents.starter_settings import STARTER_SETTINGS
from backbench.errors import NOT_EMPTY, Fault, UserError
from backbench.progress import nothing
from backbench.storage import database
from backbench.storage.atomic_io import ASIDE, write_text_file
from backbench.storage.catalogue_paths import CataloguePaths, places
from backbench.storage.settings_history import how_to_restore

if TYPE_CHECKING:
    import altair as alt
    import polars as pl

    from backbench.comparison.regression import Regression
    from backbench.comparison.stale_figures import Stale
    from backbench.comparison.unit_comparison import Comparison
    from backbench.documents.settings import Settings
    from backbench.ingest.outcomes import ReviewOutcome
    from backbench.ingest.receive import WrittenReview
    from backbench.ingest.run_ingest import CarryOut, Outcome, Refused
    from backbench.querying.saved_queries import SavedQuery
    from backbench.storage.light_rows import LightRows

TITLES = """
SELECT point_key, title FROM test_point UNION ALL SELECT unit_key, label FROM peer ORDER BY ALL
"""


FOLDERS = ("vault", "ledger", "queries", "published")
"""What a new catalogue holds beside its settings, which are written last."""


def _is_left(path: Path) -> bool:
    """Whether it is of a catalogue that was broken off while it was made."""
    if path.is_dir():
        return path.name in FOLDERS and not any(path.iterdir())
    return path.name.startswith(ASIDE)


_READING: ContextVar[tuple[Path, database.Database] | None] = ContextVar("reading", default=None)
"""The catalogue's database that is open for reading, and its connection."""


class Catalogue:
    """The catalogue in a folder. Raises UserError where the folder is none."""

    def __init__(self, path: str | Path) -> None:
        self.places: CataloguePaths = places(Path(path))
        if not (self.places.root / SETTINGS_NAME).is_file():
            fault = Fault(
                str(self.places.root), f"no {SETTINGS_NAME}", "a catalogue's folder",
                how_to_restore(self.places.ledger.folder) or "make one with `backbench init`",
            )  # fmt: skip
            raise UserError("there is no catalogue here", [fault])
        self.places.bring_into_force()

    @staticmethod
    def create(path: str | Path, settings: str = STARTER_SETTINGS) -> Catalogue:
        """Make a new catalogue in a folder that is empty or not there. Raises UserError."""
        root = Path(path)
        if root.exists() and not (root.is_dir() and all(map(_is_left, root.iterdir()))):
            fault = Fault(str(root), NOT_EMPTY, "a new or empty folder")
            raise UserError("the catalogue can't be made", [fault])
        for part in root.glob(f"{ASIDE}*"):
            part.unlink()
        for name in FOLDERS:
            (root / name).mkdir(parents=True, exist_ok=True)
        write_text_file(root / SETTINGS_NAME, settings)
        return Catalogue(root)

    @property
    def settings(self) -> Settings:
        """backbench.toml as it is now."""
        return self.places.settings

    # Changing -----------------------------------------------------------------------------

    def ingest(
        self,
        folders: Sequence[str | Path | WrittenReview],
        *,
        history: bool = True,
        processes: int | None = None,
        started: Callable[[int], None] = nothing,
        progress: Callable[[int], None] = nothing,
    ) -> tuple[list[Outcome], list[Refused]]:
        """Take in review folders. history: run under the orchestrator, which records the run.

        started gets the number of captures to be analysed; progress, of those that just were.
        """
        paths = [Path(f) if isinstance(f, str) else f for f in folders]
        return self._run(paths, history, processes, started, progress)

    def recompute(
        self,
        *,
        history: bool = True,
        processes: int | None = None,
        started: Callable[[int], None] = nothing,
        progress: Callable[[int], None] = nothing,
    ) -> tuple[list[Outcome], list[Refused]]:
        """Bring every review up to the methods and calibrations in force."""
        return self._run(None, history, processes, started, progress)

    def carry_on(self) -> tuple[list[str], list[Refused]]:
        """Finish what a command that was broken off had begun.

        The reviews that it was about, and those that were refused. Nothing is done while another
        process is changing the catalogue. Raises UserError and OSError where it can't be done; it
        is then left to the next command.
        """
        from backbench.storage.unfinished import unfinished

        if not unfinished(self.places.ledger.folder):
            return [], []
        from backbench.ingest.carry_on import carry_on

        with ExitStack() as held:
            try:
                held.enter_context(self.places.changing(patience_s=0.0))
            except UserError:
                return [], []
            return carry_on(self.places)

    def rebuild(
        self,
        *,
        processes: int | None = None,
        progress: Callable[[int], None] = nothing,
        accept_losses: bool = False,
    ) -> tuple[list[Outcome], list[Refused]]:
        """Make the database anew from vault, ledger and settings.

        The present database is kept where a review can't be rebuilt, or where the original of a
        capture is missing or damaged, unless accept_losses.
        """
        from backbench.ingest import run_ingest

        with self.places.changing():
            on_cluster = self.settings.engine == "dask"
            carry_out = self._orchestrated() if on_cluster else run_ingest.carry_out
            return run_ingest.rebuild(
                self.places, _processes(processes), progress, carry_out, accept_losses=accept_losses
            )

    def _run(
        self,
        folders: Sequence[Path | WrittenReview] | None,
        history: bool,
        processes: int | None,
        started: Callable[[int], None],
        progress: Callable[[int], None],
    ) -> tuple[list[Outcome], list[Refused]]:
        from backbench.ingest.early_start import any_new, taken_worker

        early = taken_worker()
        with self.places.changing():
            if history and any_new(self.places.root, folders or ()):
                self._have_server()
            from backbench.ingest.taken_in import taken_in
            from backbench.ingest.worker_pool import Workers

            with Workers(self.places.staged, _processes(processes), progress, early) as workers:
                recorded = self._orchestrated if history else None
                return taken_in(self.places, folders, workers, started, recorded)

    def _orchestrated(self) -> CarryOut:
        """The recorded way: on this machine, or on the cluster that the settings name."""
        self._have_server()
        from backbench.orchestration import flows

        on_cluster = self.settings.engine == "dask"
        return flows.carry_out_on_cluster if on_cluster else flows.carry_out

    def begin_server(self, folders: Sequence[Path]) -> None:
        """Start the server of the run history now, where a new review is sure to need it.

        Nothing is done while another process is changing the catalogue.
        """
        from backbench.ingest.early_start import any_new

        if any_new(self.places.root, folders):
            with suppress(UserError), self.places.changing(patience_s=0.0):
                self._have_server()

    def _have_server(self) -> None:
        """Have a server of the run history, which may start while there is other work to do."""
        from backbench.orchestration import run_server

        run_server.at_hand(self.places.runs)

    # Looking ------------------------------------------------------------------------------

    @contextmanager
    def reading(self) -> Iterator[database.Database]:
        """A read-only connection, closed on leaving; that of the `with` around it if there is."""
        held = _READING.get()
        if held is not None and held[0] == self.places.database:
            yield held[1]
            return
        self.places.prepare_reading()
        with database.reading(self.places.database) as opened:
            token = _READING.set((self.places.database, opened))
            try:
                yield opened
            finally:
                _READING.reset(token)

    def frame(self, sql: str) -> pl.DataFrame:
        """The rows of a SELECT over the catalogue's tables and views (schema/README.md)."""
        with self.reading() as opened:
            return opened.frame(sql)

    def reviews(self) -> pl.DataFrame:
        """One row a review, by date."""
        return self.frame("FROM review ORDER BY reviewed, review_key")

    def units(self) -> pl.DataFrame:
        """One row a unit, as its newest review has it."""
        return self.frame("FROM unit ORDER BY maker, model, unit_key")

    def readings(self) -> pl.DataFrame:
        """One row a reading, of all reviews."""
        return self.frame("FROM reading ORDER BY review_key, metric, reading_key")

    def captures(self) -> pl.DataFrame:
        """One row a capture, with how its analysis ended."""
        return self.frame("FROM capture ORDER BY review_key, position")

    def outcome(self, review: str) -> ReviewOutcome:
        """How the captures of a review ended, with the reasons. Raises UserError."""
        from backbench.ingest.outcomes import review_outcomes
        from backbench.ingest.recording_dates import RecordingDates
        from backbench.ingest.review_names import review_not_there

        with self.reading() as opened:
            known = [str(key) for (key,) in opened.rows("SELECT review_key FROM review")]
            if review not in known:
                raise review_not_there(review, known, self.places.ledger.newest())
            ended = review_outcomes(opened, [review])[review]
        return replace(ended, dates=RecordingDates(self.places.root).in_doubt(review))

    def stale(self, review: str = "") -> Stale:
        """What was computed before the settings of its bench were corrected: of a review, or all.

        `recompute` brings it up to date.
        """
        from backbench.comparison.stale_figures import stale_in

        with self.reading() as opened:
            return stale_in(opened, self.places.root, lambda: self.settings, review)

    def queries(self) -> dict[str, SavedQuery]:
        """The saved queries by name: those shipped, and the sound ones of the catalogue's own."""
        from backbench.charts.own_queries import available

        return available(self.places.root)

    def faulty_queries(self) -> dict[str, tuple[Fault, ...]]:
        """The catalogue's own queries that can't be used, each with everything wrong with it."""
        from backbench.charts.own_queries import faulty

        return faulty(self.places.root)

    def query(self, name: str, **values: Any) -> pl.DataFrame:
        """The rows of a saved query. Raises UserError for a name or parameter it hasn't."""
        saved = self._saved(name)
        with self.reading() as opened:
            return saved.run(opened, {key: str(value) for key, value in values.items()})

    def answer(self, name: str, **values: Any) -> LightRows | pl.DataFrame:
        """The rows of a saved query as a table in the terminal needs them. Raises UserError."""
        saved = self._saved(name)
        with self.reading() as opened:
            return saved.answer(opened, {key: str(value) for key, value in values.items()})

    def stated_query(
        self, name: str, answer: LightRows | pl.DataFrame | None = None, **values: Any
    ) -> SavedQuery:
        """A saved query with its conditions stated for these values of its parameters.

        answer: its rows; the conditions then say of how many units figures are out of date.
        """
        from backbench.comparison.stale_figures import of_answer

        saved = self._saved(name)
        given = {key: str(value) for key, value in values.items()}
        titles: dict[str, str] = {}
        stale = ""
        with self.reading() as opened:
            if saved.conditions:
                titles = dict(opened.rows(TITLES))
            if answer is not None:
                stale = of_answer(opened, self.stale(), answer)
        conditions = saved.conditions_text(given, titles)
        return replace(saved, conditions="; ".join(filter(None, (conditions, stale))))

    def _saved(self, name: str) -> SavedQuery:
        from backbench.charts.own_queries import one

        return one(self.places.root, name)

    def compare(
        self,
        unit: str,
        *,
        peers: Sequence[str] | None = None,
        include_entered: bool = True,
        heard: bool = True,
    ) -> Comparison:
        """Compare a unit with its peers.

        Parameters
        ----------
        unit : str
            The unit's key, as `units` lists it.
        peers : sequence of str, optional
            Which units are peers, as the option --peers takes them: "kind", "technology",
            "decade=1960", "everything". By default the usual choice for the unit.
        include_entered : bool
            Whether figures typed from old records take part; they are marked.
        heard : bool
            Whether figures are told in a listener's terms too, for the loudspeakers of the
            settings.

        Returns
        -------
        Comparison
            Verdicts, ranks among the peers, nearest units and remarks.

        Raises
        ------
        UserError
            Where the unit, or a choice of peers, is not known.
        """
        from backbench.comparison.unit_comparison import compare_unit

        with self.reading() as opened:
            return compare_unit(
                opened, unit, self.settings if heard else None, peers=peers,
                include_entered=include_entered, stale=self.stale(), heard=heard,
            )  # fmt: skip

    def trend(self, y: str, x: str, *, within: str = "technology") -> Regression:
        """Test one quantity for a trend against another, over all units and within groups.

        Parameters
        ----------
        y, x : str
            A metric ("thd", "power_at_limit/1", "thd@tone-1khz-5w-8ohm") or a fact of units
            ("age", "made_year", "rated_power_w").
        within : str
            The column of units that groups them.

        Returns
        -------
        Regression
            The trend; `frame` has a row a unit, `group_frame` every figure of every group.

        Raises
        ------
        UserError
            Where a quantity or column is not known.
        Refusal
            Where there are too few units.
        """
        from backbench.comparison.regression import regression

        with self.reading() as opened:
            return regression(opened, y, x, within)

    def chart(self, name: str, **values: Any) -> alt.TopLevelMixin:
        """The chart of a saved query as an Altair object."""
        from backbench.charts.query_chart import query_chart

        if self._saved(name).chart is None:
            fault = Fault(f"query {name!r}", "no chart", "a query whose header names a chart")
            raise UserError("the query can't be drawn", [fault])
        given = {key: str(value) for key, value in values.items()}
        with self.reading() as opened:
            frame = self.query(name, **values)
            saved = self.stated_query(name, frame, **values)
            return query_chart(opened, saved, frame, given, saved.conditions)


def _processes(number: int | None) -> int:
    return number if number else max(1, len(os.sched_getaffinity(0)))
