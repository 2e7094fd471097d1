"""The newest manifest of the ledger that speaks of a unit, or of another sample of its model."""

from __future__ import annotations

from backbench.documents.manifest import Manifest
from backbench.documents.settings import Settings
from backbench.ingest.receive import recall
from backbench.storage.catalogue_paths import CataloguePaths


def earlier_manifest(
    places: CataloguePaths, settings: Settings, unit: str, maker: str | None, model: str | None
) -> tuple[Manifest | None, bool]:
    """The manifest, and whether it is of the unit itself (else of its model)."""
    of_model: Manifest | None = None
    for receipt in reversed(places.ledger.receipts()):
        manifest = recall(receipt, places.vault)
        if any(settings.unit_key(u.key) == unit for u in manifest.unit):
            return manifest, True
        if of_model is None and any((u.maker, u.model) == (maker, model) for u in manifest.unit):
            of_model = manifest
    return of_model, False
