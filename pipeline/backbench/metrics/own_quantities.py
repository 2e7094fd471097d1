"""The reviewer's own quantities: metrics that are entered by hand, as the settings declare them."""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Mapping

from backbench.documents.file_names import SETTINGS_NAME
from backbench.documents.settings import OwnQuantity, Settings
from backbench.errors import Fault, UserError
from backbench.metrics.declaration import Metric
from backbench.metrics.in_force import use_own_metrics
from backbench.metrics.method_versions import shipped_names
from backbench.metrics.session_spreads import SessionSpread
from backbench.metrics.traits import BY_HAND, BY_HAND_POINT, Traits

FIRST_POSITION = 1000
"""Own quantities are shown after those of the program, in the order of the settings."""
SOURCE = "the reviewer's own definition"

OWN_FAMILY = "Quantities of your own"


def use_own_quantities(settings: Settings) -> None:
    """Bring the quantities of the settings into force, in place of those before.

    Raises UserError where one has the name of a metric of the program.
    """
    faults = list(_taken(settings.quantity))
    if faults:
        raise UserError(f"{SETTINGS_NAME} declares a quantity that is there", faults)
    use_own_metrics(
        _metric(name, own, FIRST_POSITION + place)
        for place, (name, own) in enumerate(settings.quantity.items())
    )


def _taken(quantities: Mapping[str, OwnQuantity]) -> Iterator[Fault]:
    for name in quantities:
        if name in shipped_names():
            where = f"{SETTINGS_NAME}, quantity.{name}"
            yield Fault(where, repr(name), "a name of its own", "the program has one so named")


def _metric(name: str, own: OwnQuantity, position: int) -> Metric:
    return Metric(
        name=name, title=own.title, unit=own.unit, better=own.better, source=SOURCE, choice="",
        version=_version(own), stimuli=(), definition=own.definition or own.title, measure=None,
        traits=Traits(
            compared_at=(BY_HAND_POINT,), position=position, usual_stimulus=BY_HAND,
            session_spread=_session_spread(own), has_sign=own.signed,
            also_called=(own.title.lower(), *own.also_called),
            entered_u=own.uncertainty_value, entered_u_percent=own.uncertainty_percent or 0.0,
            given_by="a figure entered by hand",
        ),
        family=OWN_FAMILY,
    )  # fmt: skip


def _session_spread(own: OwnQuantity) -> SessionSpread | None:
    """Of what may cross zero the instrument's uncertainty; else a usual one."""
    if not own.signed:
        return None
    return SessionSpread(own.uncertainty_value, False, "as far as the instrument tells")


def _version(own: OwnQuantity) -> int:
    """Another one whenever a figure of the same text may give another reading."""
    text = f"{own.unit}/{own.uncertainty_value!r}/{own.uncertainty_percent!r}"
    return 1 + zlib.crc32(text.encode()) % 1_000_000
