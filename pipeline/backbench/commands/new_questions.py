"""Questions of `new` on a terminal: one for each thing that is missing or can't be read."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from backbench.bench_day.new_review import NEEDED
from backbench.bench_day.review_request import ReviewRequest, maker_and_model, near_miss
from backbench.commands.answers import choose, day_answer, key_answer, quantity_answer, text_answer
from backbench.documents.kinds import unit_kinds
from backbench.documents.unit_facts import KEY, choices

if TYPE_CHECKING:
    from backbench.documents.manifest import Manifest


QUESTIONS = {
    "kind": "Kind of unit", "technology": "Technology of its output stage",
    "state": "State in which it is measured",
}  # fmt: skip


@dataclass
class Conversation:
    """What is known so far; each answer is kept at once, so that none is lost.

    earlier: finds the manifest of an earlier review that knows the unit, or its model.
    known_units: the keys of the catalogue's units.
    """

    request: ReviewRequest
    benches: Sequence[str]
    earlier: Callable[[ReviewRequest], Manifest | None]
    known_units: Sequence[str] = ()

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
            units[position] = key_answer(f"Your key for {text}", text)
            self._keep(units=tuple(units))
        for position, key in enumerate(self.request.units):
            self._known(position, key)

    def _known(self, position: int, key: str) -> None:
        """Ask of a new key that is much like a known one whether that is meant."""
        near = None if key in self.known_units else near_miss(key, self.known_units)
        if near is None:
            return
        other = f"another unit, with the new key {key}"
        chosen = choose(f"{key!r} is no unit of the catalogue, but {near!r} is. It is:",
                        (f"the unit {near}", other))  # fmt: skip
        if chosen != other:
            units = list(self.request.units)
            units[position] = near
            self._keep(units=tuple(units))

    def _facts(self) -> None:
        before = self.earlier(self.request)
        same = self._as_before(before) if before else {}
        known = _given(self.request) | (same.keys() - {"state", "work"})
        for name in NEEDED:
            given = self.request.facts.get(name)
            if name in choices():
                if given is not None or name not in known:
                    self._fact(name, choose(QUESTIONS[name], choices()[name], given=given))
            elif name not in known:
                self._fact(name, text_answer(QUESTIONS.get(name, name.capitalize())))
        kind = self.request.facts.get("kind") or same.get("kind")
        if unit_kinds()[str(kind)].by_power and "rated_power_w" not in known:
            question = "The maker's rated power of each channel, in W"
            self._fact("rated_power_w", quantity_answer(question, "W", optional=True))

    def _as_before(self, before: Manifest) -> dict[str, Any]:
        """The facts of the unit, or of another one of its model, in an earlier review."""
        unit = next((u for u in before.unit if u.key in self.request.units), before.unit[0])
        return unit.model_dump(exclude_none=True)

    def _session(self) -> None:
        given = self.request.bench
        if given not in self.benches and (given or len(self.benches) > 1):
            self._keep(bench=choose("Bench", self.benches, given=given))
        before = self.earlier(self.request)
        if self.request.mains_hz is None and before is None:
            self._keep(mains_hz=quantity_answer("Mains frequency in Hz, 50 or 60", "Hz"))
        if self.request.date is not None:
            self._keep(date=day_answer(self.request.date))


def _given(request: ReviewRequest) -> set[str]:
    return {name for name, value in request.facts.items() if value is not None}
