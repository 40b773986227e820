"""How many small faults put into the maths, the queries of lives and the plan checker do their tests notice?

`python .ci/mutants.py [--part NAME] [--sample 100] [--seed 1]` changes one place at a time in a copy of the tree (a
comparison, an operator, a number, a condition, a returned value), runs the part's tests on it, each run in a process
of its own with a limit of processor time, and prints every change that no test noticed, the share noticed and its
95 % interval (Wilson), for where a part has more places than `--sample` they are drawn at random.
"""

from __future__ import annotations

import argparse
import ast
import copy
import os
import random
import re
import resource
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib import import_module
from math import sqrt
from pathlib import Path

ROOT = Path(__file__).parents[1]
LIMIT_SECONDS = 90  # of the processor; a change that runs longer counts as noticed
LIVES = (
    "actions", "coverage", "fitting_rows", "graded_looks", "handovers", "life_looks", "lives", "moves", "orphan_looks",
    "parts", "places", "rough_looks", "spells", "tallies", "voidings",
)  # fmt: skip
PARTS = {  # part: (files that are changed, tests that must notice, the quickest first)
    "weibull": (
        ["pipeline/bobstay/weibull.py", "pipeline/bobstay/weibull_likelihood.py", "pipeline/bobstay/observations.py"],
        ["tests/unit/test_weibull_parts.py", "tests/unit/test_weibull.py", "tests/published/test_weibull_published.py"],
    ),
    "detection": (
        ["pipeline/bobstay/detection.py"],
        ["tests/unit/test_detection.py", "tests/published/test_detection_published.py"],
    ),
    "lives": ([f"queries/{name}.sql" for name in LIVES], ["tests/spec", "tests/property/test_lives_oracle.py"]),
    "plan_checker": (["tests/plan_checker.py"], ["tests/unit/test_plan_checker_faults.py"]),
}


@dataclass(frozen=True)
class Mutant:
    """One change: the file, its line, what was done, and the whole text after it."""

    file: str
    line: int
    change: str
    text: str


COMPARED = {
    ast.Lt: (ast.LtE, ast.GtE), ast.LtE: (ast.Lt, ast.Gt), ast.Gt: (ast.GtE, ast.LtE), ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,), ast.NotEq: (ast.Eq,), ast.In: (ast.NotIn,), ast.NotIn: (ast.In,), ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
}  # fmt: skip
WORKED_OUT = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult, ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd, ast.FloorDiv: ast.Div, ast.Mod: ast.Mult,
}  # fmt: skip


def changes(node: ast.AST) -> Iterator[tuple[str, Callable[[ast.AST], ast.AST]]]:
    """Yield what may be done to `node`: a word for it and a function that does it to a copy and returns that."""
    if isinstance(node, ast.Compare):
        for other in COMPARED[type(node.ops[0])]:
            yield f"compare as {other.__name__}", lambda n, other=other: _with(n, ops=[other(), *n.ops[1:]])
    elif isinstance(node, (ast.BinOp, ast.AugAssign)) and type(node.op) in WORKED_OUT:
        other = WORKED_OUT[type(node.op)]
        yield f"{type(node.op).__name__} as {other.__name__}", lambda n: _with(n, op=other())
    elif isinstance(node, ast.UnaryOp):
        yield f"without {type(node.op).__name__}", lambda n: n.operand
    elif isinstance(node, ast.BoolOp):
        other = ast.Or if isinstance(node.op, ast.And) else ast.And
        yield f"joined by {other.__name__}", lambda n: _with(n, op=other())
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
        yield f"{not node.value}", lambda n: _with(n, value=not n.value)
    elif isinstance(node, ast.Constant) and isinstance(node.value, (int, float)):
        yield f"{node.value} as {node.value + 1}", lambda n: _with(n, value=n.value + 1)
    elif isinstance(node, ast.IfExp):
        yield "the other way round", lambda n: _with(n, body=n.orelse, orelse=n.body)
    elif isinstance(node, ast.Return) and node.value is not None:
        yield "returns None", lambda n: _with(n, value=ast.Constant(None))


def _with(node: ast.AST, **fields: object) -> ast.AST:
    for name, value in fields.items():
        setattr(node, name, value)
    return node


def _silent(node: ast.AST) -> bool:
    """Whether a change within `node` changes no result: types, texts of errors, what only the type checker reads."""
    only_types = isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING"
    return only_types or isinstance(node, (ast.JoinedStr, ast.Raise, ast.Import, ast.ImportFrom))


def places(tree: ast.AST) -> Iterator[tuple[ast.AST, str, int | None, ast.AST]]:
    """Yield (parent, field, number in the field, node) of every node that counts, in the order of the text."""
    for field, value in ast.iter_fields(tree):
        if field in {"annotation", "returns", "decorator_list"}:
            continue
        for number, node in enumerate(value) if isinstance(value, list) else [(None, value)]:
            if isinstance(node, ast.AST) and not _silent(node):
                yield tree, field, number, node
                yield from places(node)


def of_python(file: str, text: str) -> Iterator[Mutant]:
    """Yield every mutant of a Python file."""
    count = len(list(places(ast.parse(text))))
    for at in range(count):
        kinds = list(changes(list(places(ast.parse(text)))[at][3]))
        for kind in range(len(kinds)):
            tree = ast.parse(text)
            parent, field, number, node = list(places(tree))[at]
            line, (change, done) = getattr(node, "lineno", 0), list(changes(node))[kind]
            new = done(copy.deepcopy(node))
            if number is None:
                setattr(parent, field, new)
            else:
                getattr(parent, field)[number] = new
            yield Mutant(
                file, line, f"{ast.unparse(node)[:60]}: {change}", ast.unparse(ast.fix_missing_locations(tree))
            )


WORDS = {
    "<=": ("<", ">"), ">=": (">", "<"), "<": ("<=", ">="), ">": (">=", "<="), "=": ("<>",), "<>": ("=",), "+": ("-",),
    "-": ("+",), "AND": ("OR",), "OR": ("AND",), "MIN": ("MAX",), "MAX": ("MIN",), "LEAST": ("GREATEST",),
    "GREATEST": ("LEAST",), "LAG": ("LEAD",), "LEAD": ("LAG",), "NOT": ("",), "LEFT JOIN": ("JOIN",), "DESC": ("",),
    "IS NULL": ("IS NOT NULL",), "IS NOT NULL": ("IS NULL",), "TRUE": ("FALSE",), "FALSE": ("TRUE",),
}  # fmt: skip
TOKENS = re.compile(
    r"(?P<skip>--[^\n]*|'(?:[^']|'')*'|\"[^\"]*\")"
    r"|(?P<word>IS NOT NULL|IS NULL|LEFT JOIN|\b(?:AND|OR|MIN|MAX|LEAST|GREATEST|LAG|LEAD|NOT|DESC|TRUE|FALSE)\b"
    r"|<=|>=|<>|(?<![-=])[<>=](?![>=])|(?<=\s)[+-](?=\s))|(?<![\w.$])(?P<number>\d+)(?![\w.])",
    re.IGNORECASE,
)


def of_sql(file: str, text: str) -> Iterator[Mutant]:
    """Yield every mutant of a query that the engine's parser still takes."""
    import duckdb

    for token in TOKENS.finditer(text):
        word, number = token["word"], token["number"]
        others = WORDS[word.upper()] if word else (str(int(number) + 1),) if number else ()
        for other in others:
            changed = text[: token.start()] + other + text[token.end() :]
            line = text.count("\n", 0, token.start()) + 1
            try:
                duckdb.extract_statements(changed)
            except duckdb.Error:
                continue
            yield Mutant(file, line, f"{text.splitlines()[line - 1].strip()[:80]}: {token[0]} as {other!r}", changed)


def noticed(tree: Path, mutant: Mutant | None, tests: list[str]) -> bool:
    """Whether any of the tests fails on `tree` with the mutant in it (None: as it is); the file is put back."""
    child = os.fork()
    if child == 0:
        _run_in_child(tree, mutant, tests)
    _, status = os.waitpid(child, 0)
    if mutant:
        shutil.copyfile(ROOT / mutant.file, tree / mutant.file)
    return status != 0


def _run_in_child(tree: Path, mutant: Mutant | None, tests: list[str]) -> None:
    """Run the tests in this process, and end it with their exit code."""
    import pytest

    if mutant:
        (tree / mutant.file).write_text(mutant.text, encoding="utf-8")
    os.chdir(tree)
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    os.dup2(1, 2)
    resource.setrlimit(resource.RLIMIT_CPU, (LIMIT_SECONDS, LIMIT_SECONDS))
    sys.path.insert(0, str(tree / "pipeline"))
    sys.dont_write_bytecode = True
    os._exit(int(pytest.main(["-x", "-q", "-p", "no:cacheprovider", "-p", "no:xdist", *tests])))


def copied(folder: Path) -> Path:
    """Return a copy of the tree in which the packages that lie elsewhere are found within `pipeline/bobstay`."""
    tree = folder / "tree"
    unwanted = shutil.ignore_patterns(".git", ".venv*", "__pycache__", "*.egg-info", ".*_cache", ".hypothesis")
    shutil.copytree(ROOT, tree, ignore=unwanted)
    for package, home in (("queries", "queries"), ("templates", "reports"), ("data_demo", "data_demo")):
        (tree / "pipeline" / "bobstay" / package).symlink_to(tree / home)
    return tree


def wilson(count: int, of: int) -> tuple[float, float]:
    """Return the 95 % interval of a share (Wilson 1927)."""
    z, share = 1.96, count / of
    middle, half = share + z * z / (2 * of), z * sqrt(share * (1 - share) / of + z * z / (4 * of * of))
    return (middle - half) / (1 + z * z / of), (middle + half) / (1 + z * z / of)


def judge(part: str, sample: int, seed: int, tree: Path) -> None:
    """Print what the tests of one part notice."""
    files, tests = PARTS[part]
    if noticed(tree, None, tests):
        sys.exit(f"{part}: the tests fail as it is")
    every = [m for f in files for m in _mutants_of(f)]
    drawn = random.Random(seed).sample(every, min(sample, len(every)))  # noqa: S311 - a sample, no secret
    missed = []
    for mutant in drawn:
        if not noticed(tree, mutant, tests):
            missed.append(mutant)
            _say(f"  not noticed: {mutant.file}:{mutant.line} {mutant.change}")
    count = len(drawn) - len(missed)
    low, high = wilson(count, len(drawn))
    _say(f"{part}: {count} of {len(drawn)} noticed ({count / len(drawn):.0%}; {low:.0%} to {high:.0%}), "
         f"of {len(every)} places, seed {seed}")  # fmt: skip


def _mutants_of(file: str) -> Iterator[Mutant]:
    text = (ROOT / file).read_text(encoding="utf-8")
    return of_sql(file, text) if file.endswith(".sql") else of_python(file, text)


def _say(line: str) -> None:
    print(line, flush=True)  # noqa: T201 - it is what the script is for


def main() -> None:
    """Judge the parts asked for."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--part", choices=PARTS, action="append")
    asked.add_argument("--sample", type=int, default=100)
    asked.add_argument("--seed", type=int, default=1)
    chosen = asked.parse_args()
    for heavy in ("duckdb", "pandas", "scipy.optimize", "scipy.stats"):
        import_module(heavy)  # once, for all the processes that are forked

    with tempfile.TemporaryDirectory() as folder:
        tree = copied(Path(folder))
        for part in chosen.part or PARTS:
            judge(part, chosen.sample, chosen.seed, tree)


if __name__ == "__main__":
    main()
