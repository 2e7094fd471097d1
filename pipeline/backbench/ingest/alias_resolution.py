"""Manifests read under the present keys of units: renamed ones, and two that became one."""

from __future__ import annotations

from backbench.documents.file_names import SETTINGS_NAME
from backbench.documents.manifest import Manifest, TrackRole
from backbench.documents.settings import Settings
from backbench.errors import Fault, UserError


def under_present_keys(manifest: Manifest, settings: Settings) -> Manifest:
    """The manifest with every unit under its present key; itself where no alias touches it.

    Raises UserError where two units of one review would become one.
    """
    keys = {unit.key: settings.unit_key(unit.key) for unit in manifest.unit}
    if all(old == new for old, new in keys.items()):
        return manifest
    _refuse_joined(manifest, keys)

    def role(one: TrackRole) -> TrackRole:
        return one.model_copy(update={"unit": keys[one.unit]}) if one.unit else one

    def roles(given: dict[str, TrackRole] | None) -> dict[str, TrackRole] | None:
        return None if given is None else {n: role(one) for n, one in given.items()}

    return manifest.model_copy(
        update={
            "unit": [u.model_copy(update={"key": keys[u.key]}) for u in manifest.unit],
            "tracks": roles(manifest.tracks),
            "capture": [
                c.model_copy(
                    update={"tracks": roles(c.tracks), "of": c.of and role(c.of)}
                )
                for c in manifest.capture
            ],
            "entered": [e.model_copy(update={"unit": keys[e.unit]}) for e in manifest.entered],
        }
    )  # fmt: skip


def _refuse_joined(manifest: Manifest, keys: dict[str, str]) -> None:
    present = list(keys.values())
    twice = sorted({key for key in present if present.count(key) > 1})
    if twice:
        olds = ", ".join(old for old, new in keys.items() if new in twice)
        fault = Fault(
            f"{SETTINGS_NAME}, aliases", f"{olds} as one unit {twice[0]!r}",
            "aliases of units that no review measured together",
            f"review {manifest.review.key} measured them as two",
        )  # fmt: skip
        raise UserError(f"{manifest.review.key} can't be read under the aliases", [fault])
