"""A manifest without the entries that only the catalogue's own knowledge shows to be faulty."""

from __future__ import annotations

from collections.abc import Mapping

from backbench.documents.accepted_manifest import refuse_where_nothing_stands
from backbench.documents.file_names import MANIFEST_NAME
from backbench.documents.manifest import Manifest
from backbench.documents.refused_entries import refused_entries
from backbench.ingest.entered_figures import entered_faults
from backbench.ingest.metric_spellings import under_metric_keys
from backbench.ingest.published_figures import published_faults
from backbench.ingest.same_bytes import copy_faults
from backbench.storage.vault import Received


def sound_figures(manifest: Manifest) -> Manifest:
    """The manifest with its metrics under their keys, without figures that can't be read.

    Raises UserError where nothing would be left.
    """
    named = under_metric_keys(manifest)
    faults = [*published_faults(named), *entered_faults(named)]
    left = named.without(refused_entries(faults, named.names()))
    refuse_where_nothing_stands(left, MANIFEST_NAME)
    return left


def without_copies(manifest: Manifest, files: Mapping[str, Received]) -> Manifest:
    """The manifest without captures that state the recording of another one again."""
    return manifest.without(refused_entries(copy_faults(manifest, files), manifest.names()))
