"""The queries of lives said in Spark's SQL: the way to go where one machine does not do. Needs sqlglot.

sqlglot translates; what it does not know is done here: two days apart are a whole number of days in our SQL and an
interval in Spark's, and 365.25 is a decimal there, of which a quotient would keep six digits.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import sqlglot
from sqlglot import exp
from sqlglot.optimizer.annotate_types import annotate_types
from sqlglot.optimizer.qualify import qualify

if TYPE_CHECKING:
    from datetime import date

Schema = dict[str, dict[str, str]]  # type of each column of each table the queries read, in our engine's words


def in_spark(query: str, schema: Schema, *, as_of: date) -> str:
    """Return one of queries/*.sql in Spark's SQL."""
    tree = sqlglot.parse_one(query.replace("$as_of", f"'{as_of.isoformat()}'"), read="duckdb")
    tree = qualify(tree, schema=schema, dialect="duckdb", validate_qualify_columns=False)
    tree = annotate_types(tree, schema=schema, dialect="duckdb")
    for node in reversed(list(tree.find_all(exp.Sub, exp.Add, exp.Literal))):  # the innermost first
        if isinstance(node, exp.Literal):
            if not node.is_string and "." in node.this:
                node.replace(exp.cast(node.copy(), "double"))
        elif _is_day(node.this):
            node.replace(exp.Anonymous(this=_word(node), expressions=[node.this, node.expression]))
    return tree.sql(dialect="spark")


def _word(node: exp.Binary) -> str:
    if isinstance(node, exp.Add):
        return "date_add"
    return "datediff" if _is_day(node.expression) else "date_sub"


def _is_day(node: exp.Expression) -> bool:
    """Say whether it is a day; what is worked out of days is a number of them, whatever sqlglot takes it for."""
    inner = node.unnest()
    is_worked_out = isinstance(inner, (exp.Mul, exp.Div, exp.IntDiv, exp.Anonymous))
    return inner.type is not None and bool(inner.is_type("date")) and not is_worked_out
