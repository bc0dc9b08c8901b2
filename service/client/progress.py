"""Progress of a command, shown on standard error if that is a terminal."""

import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from threading import Event, Thread
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from tqdm import tqdm

T = TypeVar("T")
_TICK_SECONDS = 0.5


def each_shown(things: Iterable[T], description: str, total: int | None = None) -> Iterable[T]:
    """The things, with a progress bar that counts them."""
    counted: Iterable[T] = _bar(things, desc=description, total=total, unit="")
    return counted


def bytes_shown(parts: Iterable[bytes], description: str, total: int | None) -> Iterator[bytes]:
    """The parts, with a progress bar that counts their bytes."""
    with _bar(desc=description, total=total, unit="B", unit_scale=True, unit_divisor=1024, leave=False) as bar:
        for part in parts:
            yield part
            bar.update(len(part))


def _bar(things: Iterable[Any] | None = None, **attributes: Any) -> Any:
    from tqdm import tqdm  # noqa: PLC0415 - the help of a command waits for nothing

    return tqdm(things, **attributes, disable=not sys.stderr.isatty())


@contextmanager
def waiting_shown(description: str) -> Iterator[None]:
    """Shows the time elapsed while waiting for an answer."""
    is_hidden, is_over = not sys.stderr.isatty(), Event()
    with _bar(desc=description, bar_format="{desc}: {elapsed}", leave=False) as bar:
        clock = Thread(target=_tick, args=(bar, is_over), daemon=True)
        if not is_hidden:
            clock.start()
        try:
            yield
        finally:
            is_over.set()
            if not is_hidden:
                clock.join()


def _tick(bar: "tqdm[None]", is_over: Event) -> None:
    while not is_over.wait(_TICK_SECONDS):
        bar.refresh()
