"""How samples stand in a file that has no header."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from backbench.documents.strict_model import Strict


class RawLayout(Strict):
    """Samples without a header: their type, order of bytes, columns, and what precedes them.

    Columns are then declared by number; a factor turns counts into volts.
    """

    type: Literal["int8", "uint8", "int16", "uint16", "int32", "uint32", "float32", "float64"]
    """Type of a value. Example: `"int16"`"""
    order: Literal["little", "big"]
    """Order of the bytes of a value: the lowest first, or the highest. Example: `"little"`"""
    columns: Annotated[int, Field(ge=1, le=1000)]
    """Number of columns. Example: `2`"""
    skip_bytes: Annotated[int, Field(ge=0, le=1_000_000)] = 0
    """Bytes before the first value. Example: `512`"""
    blocks: bool = False
    """Whether each column stands as a whole before the next, not row by row. Example: `true`"""
