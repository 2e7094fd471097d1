"""What every model of a document is made from."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict

_GIVEN: dict[frozenset[str], set[str]] = {}
"""Which fields were given, by themselves: one set for all models that were given the same."""


class Strict(BaseModel):
    """A model that refuses keys that it does not know and values of another type.

    What checks its values is built when the first document of its type is read: most commands read
    few of the types that they load.
    """

    model_config = ConfigDict(
        extra="forbid", strict=True, frozen=True, allow_inf_nan=False, defer_build=True
    )

    def model_post_init(self, context: object, /) -> None:
        """Let go of the own set of fields that were given: a fifth of the memory of plans.

        Nobody changes it: models are frozen, and a copy has a set of its own.
        """
        given = self.__pydantic_fields_set__
        shared = _GIVEN.setdefault(frozenset(given), given)
        object.__setattr__(self, "__pydantic_fields_set__", shared)
