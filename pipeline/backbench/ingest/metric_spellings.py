"""Manifests whose metrics are named as people write them, read under the metrics' keys."""

from __future__ import annotations

from backbench.documents.manifest import Manifest
from backbench.metrics.metric_names import metric_key


def under_metric_keys(manifest: Manifest) -> Manifest:
    """The manifest with every metric under its key; a name that is none stays as it is."""
    units = [
        unit.model_copy(
            update={
                "published": [
                    figure.model_copy(update={"metric": _key(figure.metric)})
                    for figure in unit.published
                ]
            }
        )
        for unit in manifest.unit
    ]
    entered = [
        figure.model_copy(update={"metric": _key(figure.metric)}) for figure in manifest.entered
    ]
    return manifest.model_copy(update={"unit": units, "entered": entered})


def _key(text: str) -> str:
    return metric_key(text) or text
