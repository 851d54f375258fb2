"""Who is told what is being done, also by searches whose answers are remembered.

A search that is asked for again is answered from memory: whom it tells cannot be one of its arguments. It is
therefore set for a stretch of work.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

Progress = Callable[[str], None]

_listener: ContextVar[Progress | None] = ContextVar("listener", default=None)


@contextmanager
def told_to(progress: Progress | None) -> Iterator[None]:
    """Let what searches tell meanwhile go there; where nobody is named, to whom it went before."""
    if progress is None:
        yield
        return
    before = _listener.set(progress)
    try:
        yield
    finally:
        _listener.reset(before)


def tell(text: str) -> None:
    """Tell in words what is being done, if anybody listens."""
    listener = _listener.get()
    if listener is not None:
        listener(text)
