"""The invented demonstration scenario and the maker of its captures."""

from backbench.seed_dataset.maker import write_catalogue_inputs
from backbench.seed_dataset.scenario import Scenario, scenario, settings_text
from backbench.seed_dataset.truth import truth

__all__ = ["Scenario", "scenario", "settings_text", "truth", "write_catalogue_inputs"]
