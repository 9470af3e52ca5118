"""The two innermost loops, written for the processor's vector unit.

A compiler left alone finds the eight bands, or the lags of a correlation, too few to be worth its vectors, and takes
two to four times as long. So these two are spelled out in vectors of a fixed width, in LLVM's own terms: it
fits them to whatever processor there is. They compute in the order of the Python beside them, which takes their place
where nothing is compiled (``NUMBA_DISABLE_JIT=1``): the answers are the same to the last bit.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, cast

import numpy as np
import numpy.typing as npt
from llvmlite import ir
from numba.core import cgutils as untyped_cgutils
from numba.core import config, types
from numba.extending import intrinsic

F32 = npt.NDArray[np.float32]
cgutils: Any = untyped_cgutils

LANES = 8
"""Bands that ``cascade`` filters at once."""
LAGS = 16
"""Lags that ``slide`` takes at once; its arrays are to be that much longer."""

_I64, _I32, _FLOAT = ir.IntType(64), ir.IntType(32), ir.FloatType()


def _plain_cascade(x: F32, first: int, count: int, coef: F32, state: F32, power: F32) -> None:
    """Two band-pass sections after one another, in LANES bands at once.

    x: samples, of which ``count`` are taken from ``first`` on. coef: (6, LANES) gain, a1, a2 of the first section, then
    of the second. state: (6, LANES) the last two values before, between and after the sections. power: (LANES,) the sum
    of the squares of what comes out is added to it.
    """
    c0, c1, c2, d0, d1, d2 = coef
    ga, gb, ya, yb, wa, wb = state.copy()
    for value in x[first : first + count]:
        g = c0 * value
        y = ((g - gb) - c2 * yb) - c1 * ya
        w = (d0 * (y - yb) - d2 * wb) - d1 * wa
        power += w * w
        ga, gb, ya, yb, wa, wb = g, ga, y, ya, w, wa
    state[:] = ga, gb, ya, yb, wa, wb


def _plain_slide(
    re: F32, im: F32, body_re: F32, body_im: F32, first: int, end: int, stride: int, lags: int, out_re: F32, out_im: F32
) -> None:
    """The correlation of a complex signal with a body, at lags 0 to ``lags``, and on to a multiple of LAGS.

    re, im: the signal, at least end + lags + LAGS long. body_re, body_im: of which every stride-th sample from
    ``first`` to ``end`` is taken. out_re, out_im: at least lags + LAGS long.
    """
    count = -(-lags // LAGS) * LAGS
    sums = np.zeros((4, count), np.float32)
    for at in range(first, end, stride):
        x, y = re[at : at + count], im[at : at + count]
        sums[0] += x * body_re[at]
        sums[1] += y * body_im[at]
        sums[2] += y * body_re[at]
        sums[3] += x * body_im[at]
    out_re[:count], out_im[:count] = sums[0] + sums[1], sums[2] - sums[3]


class _Vectors:
    """Vectors of float32 in memory that need not begin at any particular place."""

    def __init__(self, builder: Any, width: int) -> None:
        self.builder = builder
        self.kind = ir.VectorType(_FLOAT, width)
        self.zero = ir.Constant(self.kind, [0.0] * width)
        self._same = ir.Constant(ir.VectorType(_I32, width), [0] * width)

    def _place(self, data: Any, at: Any) -> Any:
        return self.builder.bitcast(self.builder.gep(data, [at]), self.kind.as_pointer())

    def load(self, data: Any, at: Any) -> Any:
        loaded = self.builder.load(self._place(data, at))
        loaded.align = 4
        return loaded

    def store(self, value: Any, data: Any, at: Any) -> None:
        self.builder.store(value, self._place(data, at)).align = 4

    def of_one(self, data: Any, at: Any) -> Any:
        """One number in all lanes."""
        value = self.builder.load(self.builder.gep(data, [at]))
        anything = ir.Constant(self.kind, ir.Undefined)
        first = self.builder.insert_element(anything, value, ir.Constant(_I32, 0))
        return self.builder.shuffle_vector(first, anything, self._same)


def _data(context: Any, builder: Any, signature: Any, args: Any, which: int) -> Any:
    """Where an argument that is an array, without a hole, has its numbers."""
    return cgutils.create_struct_proxy(signature.args[which])(context, builder, value=args[which]).data


@intrinsic
def _fast_cascade(typing: Any, x: Any, first: Any, count: Any, coef: Any, state: Any, power: Any) -> Any:
    def generate(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        vectors = _Vectors(builder, LANES)
        samples, coefs, kept, sums = (_data(context, builder, signature, args, k) for k in (0, 3, 4, 5))
        rows = [ir.Constant(_I64, LANES * k) for k in range(6)]
        c0, c1, c2, d0, d1, d2 = (vectors.load(coefs, row) for row in rows)
        memory = [cgutils.alloca_once_value(builder, vectors.load(kept, row)) for row in rows]
        total = cgutils.alloca_once_value(builder, vectors.load(sums, rows[0]))
        mul, sub = builder.fmul, builder.fsub
        with cgutils.for_range(builder, args[2]) as loop:
            value = vectors.of_one(samples, builder.add(args[1], loop.index))
            ga, gb, ya, yb, wa, wb = (builder.load(place) for place in memory)
            g = mul(c0, value)
            y = sub(sub(sub(g, gb), mul(c2, yb)), mul(c1, ya))
            w = sub(sub(mul(d0, sub(y, yb)), mul(d2, wb)), mul(d1, wa))
            builder.store(builder.fadd(builder.load(total), mul(w, w)), total)
            for new, place in zip((g, ga, y, ya, w, wa), memory, strict=True):
                builder.store(new, place)
        for row, place in zip(rows, memory, strict=True):
            vectors.store(builder.load(place), kept, row)
        vectors.store(builder.load(total), sums, rows[0])
        return context.get_dummy_value()

    return types.void(x, first, count, coef, state, power), generate


@intrinsic
def _fast_slide(
    typing: Any,
    re: Any,
    im: Any,
    body_re: Any,
    body_im: Any,
    first: Any,
    end: Any,
    stride: Any,
    lags: Any,
    out_re: Any,
    out_im: Any,
) -> Any:
    def generate(context: Any, builder: Any, signature: Any, args: Any) -> Any:
        vectors = _Vectors(builder, LAGS)
        real, imaginary, own_re, own_im = (_data(context, builder, signature, args, k) for k in range(4))
        into_re, into_im = (_data(context, builder, signature, args, k) for k in (8, 9))
        begin, stop, step, most = args[4:8]
        with cgutils.for_range_slice(builder, ir.Constant(_I64, 0), most, ir.Constant(_I64, LAGS), _I64) as (lag, _):
            sums = [cgutils.alloca_once_value(builder, vectors.zero) for _ in range(4)]
            for place in sums:  # a place is made but once, and used for all lags
                builder.store(vectors.zero, place)
            with cgutils.for_range_slice(builder, begin, stop, step, _I64) as (at, _):
                there = builder.add(at, lag)
                x, y = vectors.load(real, there), vectors.load(imaginary, there)
                a, b = vectors.of_one(own_re, at), vectors.of_one(own_im, at)
                for place, one, other in zip(sums, (x, y, y, x), (a, b, a, b), strict=True):
                    builder.store(builder.fadd(builder.load(place), builder.fmul(one, other)), place)
            same, crossed, turned, back = (builder.load(place) for place in sums)
            vectors.store(builder.fadd(same, crossed), into_re, lag)
            vectors.store(builder.fsub(turned, back), into_im, lag)
        return context.get_dummy_value()

    whole = (types.int64,) * 4
    return types.void(re, im, body_re, body_im, *whole, out_re, out_im), generate


_interpreted = bool(cast(Any, config).DISABLE_JIT)
cascade = cast("Callable[[F32, int, int, F32, F32, F32], None]", _plain_cascade if _interpreted else _fast_cascade)
slide = cast(
    "Callable[[F32, F32, F32, F32, int, int, int, int, F32, F32], None]", _plain_slide if _interpreted else _fast_slide
)
