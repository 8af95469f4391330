"""A row of numbers as one value in compiled code, so that a loop over speeds is a few vector instructions.

Numba leaves it to the compiler to see that a loop can run in vector registers. In a sweep the compiler cannot: the
faces that it writes might be the ones that it reads. `Lanes` states that they are not. Inside a compiled function
``load(array, lanes)`` is a value of as many doubles as the tuple `lanes` has members, a count known when the function
is compiled; ``+ - * /`` act lane by lane, with plain numbers too; ``store`` writes it back, and ``total`` adds its
lanes up. The compiler keeps such values in the machine's registers, whatever their width.
"""

# mypy: disable-error-code="no-untyped-call, import-untyped, misc"

from __future__ import annotations

import operator
from typing import Any

from llvmlite import ir
from numba.core import types
from numba.core.typing.templates import AbstractTemplate, infer_global, signature
from numba.extending import intrinsic, lower_builtin, models, register_model

# Products may fuse with sums and sums be reordered; infinities and NaN keep their meaning.
FLAGS = ("contract", "reassoc", "nsz", "arcp")


class Lanes(types.Type):
    """The compiled type of a row of `count` doubles."""

    def __init__(self, count: int) -> None:
        self.count = count
        super().__init__(name=f"Lanes({count})")


@register_model(Lanes)
class _LanesModel(models.PrimitiveModel):
    def __init__(self, manager: Any, kind: Lanes) -> None:
        super().__init__(manager, kind, ir.VectorType(ir.DoubleType(), kind.count))


def _spread(builder: Any, value: Any, kind: types.Type, lanes: Lanes) -> Any:
    """Repeat a number in every lane; leave a row as it is."""
    if isinstance(kind, Lanes):
        return value
    row = ir.VectorType(ir.DoubleType(), lanes.count)
    first = builder.insert_element(ir.Constant(row, ir.Undefined), value, ir.Constant(ir.IntType(32), 0))
    zeros = ir.Constant(ir.VectorType(ir.IntType(32), lanes.count), [0] * lanes.count)
    return builder.shuffle_vector(first, ir.Constant(row, ir.Undefined), zeros)


def _define(function: Any, instruction: str) -> None:
    class Typing(AbstractTemplate):
        def generic(self, args: Any, kws: Any) -> Any:
            if len(args) != 2 or not any(isinstance(a, Lanes) for a in args):
                return None
            lanes = next(a for a in args if isinstance(a, Lanes))
            kinds = [a if isinstance(a, Lanes) else types.float64 for a in args]
            return signature(lanes, *kinds)

    infer_global(function)(Typing)

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        left, right = (
            _spread(builder, value, kind, sig.return_type) for value, kind in zip(args, sig.args, strict=True)
        )
        return getattr(builder, instruction)(left, right, flags=FLAGS)

    lower_builtin(function, Lanes, Lanes)(lower)
    lower_builtin(function, Lanes, types.Float)(lower)
    lower_builtin(function, types.Float, Lanes)(lower)


for _function, _instruction in (
    (operator.add, "fadd"),
    (operator.sub, "fsub"),
    (operator.mul, "fmul"),
    (operator.truediv, "fdiv"),
):
    _define(_function, _instruction)


def _address(context: Any, builder: Any, kind: types.Array, array: Any, count: int) -> Any:
    data = context.make_array(kind)(context, builder, array).data
    return builder.bitcast(data, ir.VectorType(ir.DoubleType(), count).as_pointer())


@intrinsic
def load(typing: Any, array: Any, like: Any) -> Any:
    """Row of the first numbers of a contiguous array, as many as the tuple `like` has members."""
    lanes = Lanes(len(like))

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.load(_address(context, builder, sig.args[0], args[0], lanes.count), align=8)

    return signature(lanes, array, like), code


@intrinsic
def store(typing: Any, array: Any, row: Any) -> Any:
    """Write a row to the start of a contiguous array."""

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        builder.store(args[1], _address(context, builder, sig.args[0], args[0], sig.args[1].count), align=8)
        return context.get_dummy_value()

    return signature(types.void, array, row), code


@intrinsic
def total(typing: Any, row: Any) -> Any:
    """Sum over the lanes."""

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        double, kind = ir.DoubleType(), ir.VectorType(ir.DoubleType(), row.count)
        name = f"llvm.vector.reduce.fadd.v{row.count}f64"
        reduce = builder.module.declare_intrinsic(name, (), ir.FunctionType(double, [double, kind]))
        return builder.call(reduce, [ir.Constant(double, 0.0), args[0]], fastmath=FLAGS)

    return signature(types.float64, row), code


@intrinsic
def totals(typing: Any, a: Any, b: Any, c: Any, d: Any, e: Any, f: Any, g: Any, h: Any) -> Any:
    """Add up the lanes of eight rows at once, into a row of eight, by a tree of shuffles that they share."""
    eight = Lanes(8)

    def code(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        def pick(left: Any, right: Any, places: list[int]) -> Any:
            mask = ir.Constant(ir.VectorType(ir.IntType(32), len(places)), places)
            return builder.shuffle_vector(left, right, mask)

        def merge(left: Any, right: Any, first: list[int], second: list[int]) -> Any:
            return builder.fadd(pick(left, right, first), pick(left, right, second), flags=FLAGS)

        rows = list(args)
        while rows[0].type.count > 8:
            half = rows[0].type.count // 2
            low, high = list(range(half)), list(range(half, 2 * half))
            rows = [merge(row, row, low, high) for row in rows]
        rows = [
            merge(rows[k], rows[k + 1], [0, 8, 2, 10, 4, 12, 6, 14], [1, 9, 3, 11, 5, 13, 7, 15]) for k in (0, 2, 4, 6)
        ]
        rows = [merge(rows[k], rows[k + 1], [0, 1, 8, 9, 4, 5, 12, 13], [2, 3, 10, 11, 6, 7, 14, 15]) for k in (0, 2)]
        return merge(rows[0], rows[1], [0, 1, 2, 3, 8, 9, 10, 11], [4, 5, 6, 7, 12, 13, 14, 15])

    return signature(eight, a, b, c, d, e, f, g, h), code
