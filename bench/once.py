"""A property that is worked out once. ``functools.cached_property`` takes a lock for each object until Python 3.12, and
a job's readings have tens of thousands of them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Generic, Self, TypeVar, overload

T = TypeVar("T")


class once(Generic[T]):
    """Works a property out when it is first asked for, and keeps it in the object.

    Two threads that ask at the same time may both work it out; they keep the same.

    Args:
        work: works it out.
    """

    def __init__(self, work: Callable[[Any], T]) -> None:
        self._work = work
        self._name = work.__name__
        self.__doc__ = work.__doc__

    @overload
    def __get__(self, instance: None, owner: type | None = None) -> Self: ...
    @overload
    def __get__(self, instance: object, owner: type | None = None) -> T: ...
    def __get__(self, instance: object | None, owner: type | None = None) -> Self | T:
        """The value; the property itself where a class is asked."""
        if instance is None:
            return self
        value = instance.__dict__[self._name] = self._work(instance)
        return value
