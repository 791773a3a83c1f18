"""Combinations that must not occur, written as an expression over the factors."""

import ast
import operator
from collections.abc import Callable

import numpy as np
import pandas as pd

from kit.design.factors import listed
from kit.errors import Misuse

_COMPARE: dict[type[ast.cmpop], Callable[..., object]] = {
    ast.Eq: operator.eq,
    ast.NotEq: operator.ne,
    ast.Lt: operator.lt,
    ast.LtE: operator.le,
    ast.Gt: operator.gt,
    ast.GtE: operator.ge,
}
_ARITHMETIC: dict[type[ast.operator], Callable[..., object]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
}


def forbidden(rule: str, cells: pd.DataFrame) -> np.ndarray:
    """Find the rows that a rule says must not occur.

    Only comparisons, `and`, `or`, `not`, `in`, plain arithmetic, factor names, words in quotes
    and numbers are understood, so that a rule from a file can do no harm.

    Parameters
    ----------
    rule : str
        Such as ``"coat_weight >= 60 and mesh == 60"``: true where a cell must not occur.
    cells : pandas.DataFrame
        One column a factor.

    Returns
    -------
    numpy.ndarray of bool, shape (len(cells),)

    Raises
    ------
    Misuse
        When the rule cannot be read, names something that is no factor, or is not yes or no.
    """
    try:
        tree = ast.parse(rule.strip(), mode="eval").body
        answer = np.asarray(_value(tree, cells, rule))
    except (SyntaxError, TypeError, ValueError, RecursionError) as reason:
        if isinstance(reason, Misuse):
            raise
        raise Misuse(
            f"The rule '{rule}' cannot be read. Write it like 'coat_weight > 60 and mesh == 60', "
            "with words in quotes."
        ) from reason
    if answer.dtype != bool:
        raise Misuse(f"The rule '{rule}' must be true or false for every combination.")
    return np.broadcast_to(answer, len(cells)).copy()


def _value(node: ast.expr, cells: pd.DataFrame, rule: str) -> object:
    def inner(part: ast.expr) -> object:
        return _value(part, cells, rule)

    match node:
        case ast.Name(id=name):
            if name not in cells:
                raise Misuse(
                    f"The rule '{rule}' names '{name}', which is no factor of this plan. "
                    f"The factors are {listed(cells.columns)}; put words in quotes."
                )
            column = cells[name]
            return column.to_numpy(object if column.dtype.kind not in "ifb" else None)
        case ast.Constant(value=str() | int() | float() as constant):
            return constant
        case ast.Compare():
            return _compared(node, inner)
        case ast.BoolOp(op=op, values=values):
            combine = np.logical_and if isinstance(op, ast.And) else np.logical_or
            return combine.reduce([_yes_or_no(inner(value), rule) for value in values])
        case ast.UnaryOp(op=ast.Not(), operand=operand):
            return np.logical_not(_yes_or_no(inner(operand), rule))
        case ast.UnaryOp(op=ast.USub(), operand=operand):
            return operator.neg(inner(operand))  # type: ignore[arg-type]
        case ast.BinOp(op=op, left=left, right=right) if type(op) in _ARITHMETIC:
            return _ARITHMETIC[type(op)](inner(left), inner(right))
    raise ValueError(f"{type(node).__name__} is not understood in a rule")


def _compared(node: ast.Compare, inner: Callable[[ast.expr], object]) -> np.ndarray:
    holds = np.asarray(True)
    left = inner(node.left)
    for op, part in zip(node.ops, node.comparators, strict=True):
        if isinstance(op, ast.In | ast.NotIn):
            if not isinstance(part, ast.List | ast.Tuple | ast.Set):
                raise ValueError("'in' needs a list")
            found = np.isin(np.asarray(left), np.array([inner(choice) for choice in part.elts]))
            holds = holds & (found if isinstance(op, ast.In) else ~found)
            continue
        right = inner(part)
        holds = holds & np.asarray(_COMPARE[type(op)](left, right))
        left = right
    return holds


def _yes_or_no(value: object, rule: str) -> np.ndarray:
    answer = np.asarray(value)
    if answer.dtype != bool:
        raise Misuse(
            f"In the rule '{rule}', both sides of 'and', 'or' and 'not' must compare things."
        )
    return answer
