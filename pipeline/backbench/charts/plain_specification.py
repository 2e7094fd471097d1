"""A chart's specification, read from its parts without Altair's own walk through them.

Altair asks of every part which of a dozen libraries it might be of; that takes as long as making
the chart did. Charts of this program consist of few kinds of parts. Where there is any other, as
in a chart that a user altered, nothing is given and Altair's walk is taken.
"""

from __future__ import annotations

import hashlib
import json
import re
from typing import Any

import altair as alt
import numpy as np
from altair.utils import schemapi, update_nested
from altair.vegalite.v6 import SCHEMA_URL
from altair.vegalite.v6.schema import channels

SHORTHAND = re.compile(r"([A-Za-z_]\w*)(?::([QNOT]))?")
TYPES = {"Q": "quantitative", "N": "nominal", "O": "ordinal", "T": "temporal"}
PLAIN = (str, int, float, bool, type(None))


class _OtherPartError(Exception):
    """A part that only Altair's own walk knows."""


def plain_specification(chart: alt.TopLevelMixin) -> dict[str, Any] | None:
    """The specification of a layered chart of this program; None of any other."""
    if type(chart) is not alt.LayerChart:
        return None
    datasets: dict[str, Any] = {}
    try:
        made = {
            name: [_layer(one, datasets) for one in value] if name == "layer" else _plain(value)
            for name, value in _given(chart).items()
        }
    except _OtherPartError:
        return None
    look = alt.theme.get()
    if "data" in made or look is None:
        return None
    made["$schema"] = SCHEMA_URL
    return dict(update_nested(look(), made, copy=True)) | {"datasets": datasets}


def _given(part: schemapi.SchemaBase) -> dict[str, Any]:
    """What was stated of a part."""
    return {k: v for k, v in part._kwds.items() if v is not alt.Undefined}


def _layer(one: alt.Chart, datasets: dict[str, Any]) -> dict[str, Any]:
    stated = _given(one)
    data = stated.pop("data", None)
    if not isinstance(data, alt.InlineData) or _given(data).keys() != {"values"}:
        raise _OtherPartError
    values = data.values
    name = "empty" if values == [{}] else _name_of(values)
    datasets[name] = values
    return {"data": {"name": name}} | {key: _plain(value) for key, value in stated.items()}


def _name_of(values: list[dict[str, Any]]) -> str:
    text = json.dumps(values, sort_keys=True, default=str)
    return "data-" + hashlib.sha256(text.encode()).hexdigest()[:32]


def _plain(value: Any) -> Any:
    if isinstance(value, PLAIN):
        return value
    if isinstance(value, (list, tuple)):
        return [_plain(one) for one in value]
    if isinstance(value, dict):
        return {name: _plain(one) for name, one in value.items() if one is not alt.Undefined}
    if isinstance(value, np.number):
        return float(value)
    if isinstance(value, schemapi.SchemaBase):
        return _part(value)
    raise _OtherPartError


def _part(part: schemapi.SchemaBase) -> Any:
    walk: object = type(part).to_dict
    if part._args:
        if part._kwds or walk is not schemapi.SchemaBase.to_dict:
            raise _OtherPartError
        return _plain(part._args[0])
    stated = _given(part)
    if walk is channels.FieldChannelMixin.to_dict:
        stated = _with_field(stated, typed="type" in part._kwds)
    elif walk is not schemapi.SchemaBase.to_dict and (
        walk is not channels.ValueChannelMixin.to_dict or "condition" in stated
    ):
        raise _OtherPartError
    return {name: _plain(value) for name, value in stated.items()}


def _with_field(stated: dict[str, Any], *, typed: bool) -> dict[str, Any]:
    """A channel's "level:Q" as its field and type. typed: whether the channel has a type."""
    text = stated.pop("shorthand", None)
    match = SHORTHAND.fullmatch(text) if isinstance(text, str) else None
    if match is None or "field" in stated or (typed and not match[2] and "type" not in stated):
        raise _OtherPartError
    kind = {"type": TYPES[match[2]]} if typed and match[2] else {}
    return {"field": match[1]} | kind | stated
