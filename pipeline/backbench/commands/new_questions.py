"""Questions of `new` on a terminal: one for each thing that is missing or can't be read."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import typer

from backbench.bench_day.new_review import NEEDED
from backbench.bench_day.review_request import ReviewRequest, maker_and_model
from backbench.commands.answers import choose, key_answer, quantity_answer, text_answer
from backbench.documents.kinds import unit_kinds
from backbench.documents.unit_facts import KEY, choices

if TYPE_CHECKING:
    from backbench.documents.manifest import Manifest


@dataclass
class Conversation:
    """What is known so far; each answer is kept at once, so that none is lost.

    earlier: finds the manifest of an earlier review that knows the unit, or its model.
    """

    request: ReviewRequest
    benches: Sequence[str]
    earlier: Callable[[ReviewRequest], Manifest | None]

    def complete(self) -> ReviewRequest:
        """The request with everything that was missing. Raises typer.Abort where it is left."""
        self._units()
        self._facts()
        self._session()
        return self.request

    def _keep(self, **answers: Any) -> None:
        self.request = replace(self.request, **answers)

    def _fact(self, name: str, value: Any) -> None:
        self._keep(facts={**self.request.facts, name: value})

    def _units(self) -> None:
        """Keys of the units; a name is taken as maker and model, and a key is proposed for it."""
        if not self.request.units:
            self._keep(units=(text_answer("Unit: maker and model, or your own key for it"),))
        for position, text in enumerate(self.request.units):
            if KEY.fullmatch(text):
                continue
            maker, model = maker_and_model(text)
            if maker and not {"maker", "model"} & _given(self.request):
                self._fact("maker", maker)
                self._fact("model", model)
            units = list(self.request.units)
            units[position] = key_answer(text)
            self._keep(units=tuple(units))

    def _facts(self) -> None:
        before = self.earlier(self.request)
        same = before.unit[0].model_dump(exclude_none=True) if before else {}
        known = _given(self.request) | (same.keys() - {"state", "work"})
        for name in NEEDED:
            given = self.request.facts.get(name)
            if name in choices():
                if given is not None or name not in known:
                    self._fact(name, choose(name.capitalize(), choices()[name], given=given))
            elif name not in known:
                self._fact(name, text_answer(name.capitalize()))
        kind = self.request.facts.get("kind", same.get("kind"))
        if unit_kinds()[str(kind)].by_power and "rated_power_w" not in known:
            self._fact(
                "rated_power_w", quantity_answer("Rated power in W (Enter: not known)", "W", "")
            )

    def _session(self) -> None:
        given = self.request.bench
        if given not in self.benches and (given or len(self.benches) > 1):
            self._keep(bench=choose("Bench", self.benches, given=given))
        before = self.earlier(self.request)
        if self.request.mains_hz is None and before is None:
            self._keep(mains_hz=quantity_answer("Mains frequency in Hz, 50 or 60", "Hz", None))
        while not _is_date(self.request.date):
            typer.echo(f"  {self.request.date!r} is no date such as 2024-05-11")
            today = dt.date.today().isoformat()
            self._keep(date=str(typer.prompt("Date of the session", default=today)))


def _given(request: ReviewRequest) -> set[str]:
    return {name for name, value in request.facts.items() if value is not None}


def _is_date(text: str | None) -> bool:
    try:
        return text is None or bool(dt.date.fromisoformat(text))
    except ValueError:
        return False
