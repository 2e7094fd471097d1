"""What every model of a document is made from."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Strict(BaseModel):
    """A model that refuses keys that it does not know and values of another type.

    What checks its values is built when the first document of its type is read: most commands read
    few of the types that they load.
    """

    model_config = ConfigDict(
        extra="forbid", strict=True, frozen=True, allow_inf_nan=False, defer_build=True
    )
