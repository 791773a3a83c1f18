"""Linear algebra on one thread.

Every matrix here is small. Several threads gain nothing on it, and on a busy machine they wait for
each other: a fit of milliseconds was seen to take a second.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache

from threadpoolctl import ThreadpoolController


@cache
def _controller() -> ThreadpoolController:
    return ThreadpoolController()


@contextmanager
def one_thread() -> Iterator[None]:
    """Keep numpy's and scipy's linear algebra to one thread inside the block."""
    with _controller().limit(limits=1, user_api="blas"):
        yield
