"""Mains lines and sidebands under the products of two tones."""

from __future__ import annotations

from collections.abc import Sequence

from backbench.quantities.writing import in_text


def mains_under_products(mains_hz: float | None, hit: Sequence[str]) -> str | None:
    """That mains lines or sidebands may hide in products; None where in none.

    mains_hz: nominal, None where unknown. hit: names of these products.
    """
    if not hit:
        return None
    return (
        f"lines or sidebands of the {in_text(mains_hz or 0.0, 'Hz', 6)} mains, or of another, may "
        f"lie under {', '.join(hit)}; "
        "play a pair whose products are clear of them, in a longer record"
    )
