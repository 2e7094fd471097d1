"""Pictures as pixels: here, or by another process while further pictures are drawn."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from functools import partial

from backbench.storage.process_pool import started_pool

Converter = Callable[[str], Callable[[], bytes]]
"""Takes an SVG picture and gives what answers with its PNG, waiting for it where need be."""

FIRST = '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><text y="9">0</text></svg>'


def png_of(svg: str) -> bytes:
    """A pixel for each unit of the picture's size."""
    import vl_convert

    return bytes(vl_convert.svg_to_png(svg, scale=1, ppi=72))


def converted_here(svg: str) -> Callable[[], bytes]:
    """The `Converter` of this process alone."""
    return partial(png_of, svg)


@contextmanager
def converting(processes: int) -> Iterator[Converter]:
    """Convert pictures beside what this process does, where it may have another one.

    The engine that makes the pixels lets no other thread run meanwhile. Raises UserError where a
    process can't be started.
    """
    if processes < 2:
        yield converted_here
        return
    with started_pool(1, read_fonts, ()) as pool:
        pool.submit(read_fonts)

        def later(svg: str) -> Callable[[], bytes]:
            try:
                return partial(_answer, pool.submit(png_of, svg), svg)
            except BrokenProcessPool:
                return converted_here(svg)

        yield later


def read_fonts() -> None:
    """What the engine does once, with its first picture: find fonts."""
    png_of(FIRST)


def _answer(asked: Future[bytes], svg: str) -> bytes:
    """The picture, made here where the other process has ended."""
    try:
        return asked.result()
    except BrokenProcessPool:
        return png_of(svg)
