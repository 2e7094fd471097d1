"""What is reckoned once of an object and kept with it."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, Generic, TypeVar, overload

T = TypeVar("T")
A = TypeVar("A")
R = TypeVar("R")


class kept_property(Generic[T]):
    """As functools.cached_property, without the lock that Python 3.11 takes for each.

    An analysis asks for a hundred of them a capture, in one thread, and the lock takes longer than
    the rest of the call. Of classes whose instances have a `__dict__`.
    """

    def __init__(self, reckon: Callable[[Any], T]) -> None:
        self._reckon, self._name = reckon, ""
        self.__doc__ = reckon.__doc__

    def __set_name__(self, owner: type, name: str) -> None:
        self._name = name

    @overload
    def __get__(self, instance: None, owner: type | None = None) -> kept_property[T]: ...
    @overload
    def __get__(self, instance: object, owner: type | None = None) -> T: ...
    def __get__(self, instance: object | None, owner: type | None = None) -> kept_property[T] | T:
        if instance is None:
            return self
        value = instance.__dict__[self._name] = self._reckon(instance)
        return value

    def keep(self, instance: object, value: T) -> None:
        """Keep what was reckoned elsewhere, with that of other instances.

        Parameters
        ----------
        instance : object
            Whose property it is.
        value : T
            What it would have been reckoned as.
        """
        instance.__dict__[self._name] = value


def kept_with_it(reckon: Callable[[T], R]) -> Callable[[T], R]:
    """A function of one object whose result stays with that object.

    Parameters
    ----------
    reckon : callable
        Gives the value for an object, which has a `__dict__`. What it raises isn't kept.

    Returns
    -------
    callable
        Gives the same, reckoned at the first call for each object.
    """
    name = f"{reckon.__module__}.{reckon.__qualname__}"

    @wraps(reckon)
    def given(it: T) -> R:
        held = it.__dict__
        if name in held:
            kept: R = held[name]
            return kept
        value = held[name] = reckon(it)
        return value

    return given


def kept_for_each(reckon: Callable[[T, A], R]) -> Callable[[T, A], R]:
    """A function of an object and of one thing more whose results stay with that object.

    Parameters
    ----------
    reckon : callable
        Gives the value for an object, which has a `__dict__`, and for what has a hash. What it
        raises isn't kept.

    Returns
    -------
    callable
        Gives the same, reckoned at the first call for each pair.
    """
    name = f"{reckon.__module__}.{reckon.__qualname__}"

    @wraps(reckon)
    def given(it: T, at: A) -> R:
        kept: dict[A, R] = it.__dict__.setdefault(name, {})
        if at not in kept:
            kept[at] = reckon(it, at)
        return kept[at]

    return given
