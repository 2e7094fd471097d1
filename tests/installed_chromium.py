"""The Chromium that tests use: without one they are skipped, or fail where CI is set."""

from __future__ import annotations

import os

import pytest

from backbench.errors import UserError
from backbench.publish.browser import find_browser


def chromium() -> str:
    """The path of an installed Chromium."""
    try:
        return find_browser()
    except UserError:
        if os.environ.get("CI"):
            pytest.fail("Chromium is not installed, and CI is set")
        pytest.skip("Chromium is not installed (Debian's package `chromium`)")
