"""Charts on a dark screen: each colour of a picture has one that stands for it there.

A picture states its colours as attributes, which a style sheet inside it overrides where the
reader's screen is dark; on paper it stays as it was drawn.
"""

from __future__ import annotations

from backbench.charts import theme

DARK = {
    theme.PAPER: "#1d1b18",
    theme.INK: "#ebe6da",
    theme.SOFT_INK: "#b9b2a3",
    theme.RULE: "#4a463d",
    theme.BAND: "#35312a",
    theme.CELL: "#2a2721",
    theme.GREY: "#a8a192",
    theme.LINE_GREY: "#9b9486",
    theme.DARK_GREY: "#c4bdae",
    theme.BROWN: "#c39f8a",
    theme.LOOKS["tube"].colour: "#ea974d",
    theme.LOOKS["solid state"].colour: "#a5b9ea",
    theme.LOOKS["hybrid"].colour: "#52ba8f",
    theme.LOOKS["switching"].colour: "#b3709c",
}
SCREEN = "@media screen and (prefers-color-scheme:dark)"


def dark_rules(within: str = "") -> str:
    """The style rules on a dark screen, for what lies within a selector ("#chart " of a page)."""
    return f"{SCREEN}{{{_rules(within)}}}"


def _rules(within: str = "") -> str:
    return "".join(
        f'{within}[{kind}="{light}"]{{{kind}:{dark}}}'
        for light, dark in DARK.items()
        for kind in ("fill", "stroke")
    )


def following_the_screen(svg: str) -> str:
    """A picture with the style sheet inside; it stands after the opening tag."""
    start, end, rest = svg.partition(">")
    return f"{start}{end}<style>{dark_rules()}</style>{rest}"


def in_theme(svg: str, *, dark: bool) -> str:
    """A picture of `following_the_screen` that stays light, or dark, on every screen."""
    return svg.replace(dark_rules(), _rules() if dark else "", 1)
