"""review.toml as a reviewer would have written it."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence

from backbench.seed_dataset.plan import Sheet, Take
from backbench.seed_dataset.published import Promise, promises
from backbench.seed_dataset.scenario import Review, Unit
from backbench.seed_dataset.stimulus import number

CONDITIONS: dict[str, list[str]] = {
    "phono stage": ['input = "phono mm"'],
    "headphone amplifier": ["load_ohm = 32"],
    "equaliser": ['controls = "flat"'],
    "turntable": [],
    "tape deck": [],
    "tuner": [],
    "disc player": [],
    "converter": [],
}
"""Of kinds that aren't amplifiers, but for the time since switching on."""


def quoted(text: str) -> str:
    """A TOML basic string."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def manifest_text(
    review: Review, recorded: Sequence[tuple[Take, str | None]], tables: Sequence[Sheet]
) -> str:
    """The whole manifest.

    recorded: each capture with the name of its input range.
    tables: what was noted or kept as tables.
    """
    blocks = [head_text(review)]
    usual = None if review.units[0].is_preamplifier else 8.0
    blocks += [_capture(review, take, name, usual) for take, name in recorded]
    blocks += [_table(review, sheet) for sheet in tables]
    return "\n\n".join(blocks) + "\n"


def head_text(review: Review) -> str:
    """The manifest down to its captures."""
    blocks = [_review(review)]
    blocks += [_unit(review, unit) for unit in review.units]
    return "\n\n".join([*blocks, _tracks(review), _conditions(review)])


def _review(review: Review) -> str:
    first = review.units[0]
    return "\n".join([
        "[review]",
        f"key = {quoted(review.key)}",
        f"date = {review.date.isoformat()}",
        f"bench = {quoted(review.bench)}",
        f"mains_hz = {number(review.mains_hz)}",
        f"title = {quoted(f'{first.maker} {first.model}, {review.state}')}",
        f"temperature_c = {review.temperature_c}",
    ])  # fmt: skip


def _unit(review: Review, unit: Unit) -> str:
    made = f"[{unit.made}, {unit.made_to}]" if unit.made_to else str(unit.made)
    lines = [
        "[[unit]]",
        f"key = {quoted(unit.key)}",
        f"maker = {quoted(unit.maker)}",
        f"model = {quoted(unit.model)}",
        *([f"serial = {quoted(unit.serial)}"] if unit.serial else []),
        f"kind = {quoted(unit.kind)}",
        f"technology = {quoted(unit.technology)}",
        f"topology = {quoted(unit.topology)}",
        f"made = {made}",
        f"state = {quoted(review.state)}",
    ]
    if review.work:
        lines.append(f"work = [{', '.join(quoted(part) for part in review.work)}]")
    if review.listening:
        lines.append(f"listening = {quoted(review.listening)}")
    if review.tags:
        lines.append(f"tags = [{', '.join(quoted(tag) for tag in review.tags)}]")
    if unit.rated_power_w:
        lines.append(f"rated_power_w = {number(unit.rated_power_w)}")
    lines.append(
        f"list_price = {{ amount = {unit.list_price_usd:.2f}, "
        f'currency = "USD", year = {unit.price_year} }}'
    )
    return "\n\n".join(["\n".join(lines), *(_published(one) for one in promises(unit))])


def _published(promise: Promise) -> str:
    lines = ["[[unit.published]]", f"metric = {quoted(promise.metric)}"]
    if promise.at:
        lines.append(f"at = {{ {', '.join(f'{k} = {v}' for k, v in promise.at.items())} }}")
    for key, limit in (("at_most", promise.at_most), ("at_least", promise.at_least)):
        if limit is not None:
            lines.append(f"{key} = {quoted(limit)}")
    return "\n".join([*lines, f"printed_in = {quoted(promise.printed_in)}"])


def _tracks(review: Review) -> str:
    return "\n".join(["[tracks]", *_roles(review)])


def _roles(review: Review) -> list[str]:
    return [
        f"{n} = {{ unit = {quoted(unit.key)}, output = {quoted(output)} }}"
        for n, (unit, output) in enumerate(review.channels, start=1)
    ]


def _conditions(review: Review) -> str:
    kind = review.units[0].kind
    if review.is_as_tuner:
        return "\n".join(["[conditions]", 'input = "tuner"', "minutes_on = 40"])
    if kind in CONDITIONS:
        return "\n".join(["[conditions]", *CONDITIONS[kind], "minutes_on = 40"])
    lines = ["[conditions]", 'volume = "full"', "minutes_on = 40"]
    if not review.units[0].is_preamplifier:
        lines.insert(1, "load_ohm = 8")
    if kind != "power amplifier":
        lines += ['input = "aux"', 'controls = "flat"']
    return "\n".join(lines)


def _capture(review: Review, take: Take, range_name: str | None, usual: float | None) -> str:
    own = [f"range = {quoted(range_name)}"] if range_name else []
    if take.load_ohm is not None and take.load_ohm != usual:
        own.append(
            "load_ohm = " + ('"open"' if take.load_ohm == math.inf else number(take.load_ohm))
        )
    for name, setting in (("controls", take.controls), ("volume", take.volume)):
        if setting is not None:
            own.append(f"{name} = {quoted(setting)}")
    if take.driven:
        own.append(f"driven = {quoted(take.driven)}")
    lines = [
        "[[capture]]",
        f"file = {quoted(take.file)}",
        f"stimulus = {take.stimulus.toml()}",
        f"conditions = {{ {', '.join(own)} }}",
    ]
    if take.loop_back:
        lines += [
            "loop_back = true",
            'tracks = { 1 = { output = "left" }, 2 = { output = "right" } }',
        ]
    elif take.with_generator:
        roles = ", ".join([*_roles(review), "3 = { generator = true }"])
        lines.append(f"tracks = {{ {roles} }}")
    return "\n".join(lines)


def _table(review: Review, sheet: Sheet) -> str:
    unit, output = review.channels[sheet.position - 1]
    return "\n".join([
        "[[capture]]",
        f"file = {quoted(sheet.file)}",
        f"stimulus = {sheet.toml}",
        f"of = {{ unit = {quoted(unit.key)}, output = {quoted(output)} }}",
    ])  # fmt: skip
