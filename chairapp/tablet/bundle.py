"""The judge for the browser: the very files the server runs, packed for Brython under their real names.

`chairapp` and `chairapp.sequence` are empty packages there: what their own `__init__` imports is not for the browser.
"""

import ast
import json
from collections.abc import Callable, Iterator
from functools import cache
from importlib.resources import files

from chairapp.tablet.errors import BundleError

__all__ = ["EMPTY", "ROOTS", "brython", "bundle", "judge_modules"]

ROOTS = ("chairapp.sequence.view", "chairapp.sequence.check", "chairapp.judge.errors")
"""What the worker asks; whatever these import comes with them."""

EMPTY = ("chairapp", "chairapp.sequence")
ALLOWED = ("math",)
_INSIDE = ("chairapp.judge", "chairapp.sequence.")

Source = Callable[[str], tuple[str, bool]]


def brython() -> bytes:
    """The interpreter, as the installed package brings it."""
    return (files("brython") / "data" / "brython.js").read_bytes()


def bundle() -> str:
    """A script that gives Brython the `math` module of its own library and every module of the judge."""
    sources: dict[str, list[object]] = {"math": _math()}
    for name in EMPTY:
        sources[name] = [".py", "", [], True]
    for name, (text, package) in judge_modules().items():
        sources[name] = [".py", text, imported(name, text), *([True] if package else [])]
    return f"__BRYTHON__.use_VFS = true;\n__BRYTHON__.update_VFS({json.dumps(sources)});\n"


def judge_modules(read: Source | None = None) -> dict[str, tuple[str, bool]]:
    """Every module the worker needs: name -> (its text, whether it is a package), found from `ROOTS` by the imports.

    Raises BundleError naming the file and line of an import that does not exist in the browser.
    """
    read = read or _source
    found: dict[str, tuple[str, bool]] = {}
    todo = list(ROOTS)
    while todo:
        name = todo.pop()
        if name in found or name in EMPTY or name in ALLOWED:
            continue
        found[name] = read(name)
        todo += [*imported(name, found[name][0]), *_parents(name)]
    return dict(sorted(found.items()))


def imported(module: str, text: str) -> list[str]:
    """The modules this text imports, each once. Raises BundleError for one the browser does not have."""
    names = []
    for line, name in _imports(ast.parse(text)):
        if name not in ALLOWED and not name.startswith(_INSIDE):
            raise BundleError(f"{module}, line {line}: {name!r} cannot be imported in the browser")
        names.append(name)
    return list(dict.fromkeys(names))


def _imports(tree: ast.AST) -> Iterator[tuple[int, str]]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield from ((node.lineno, name) for name in _from(node))


def _from(node: ast.ImportFrom) -> list[str]:
    """`from package import module` means the module too, and there is no telling it from a name without looking."""
    base = "." * node.level + (node.module or "")
    inside = [f"{base}.{alias.name}" for alias in node.names]
    return [base, *(name for name in inside if name.startswith(_INSIDE) and _is_module(name))]


def _parents(name: str) -> list[str]:
    parts = name.split(".")
    return [".".join(parts[:n]) for n in range(1, len(parts))]


def _is_module(name: str) -> bool:
    try:
        _source(name)
    except BundleError:
        return False
    return True


def _source(name: str) -> tuple[str, bool]:
    package, *inside, last = name.split(".")
    folder = files(package).joinpath(*inside)
    for path, is_package in ((folder / last / "__init__.py", True), (folder / f"{last}.py", False)):
        if path.is_file():
            return path.read_text("utf-8"), is_package
    raise BundleError(f"{name}: there is no such module")


@cache
def _math() -> list[object]:
    """Cut out of the library that comes with the interpreter, so that its five megabytes need not."""
    text = (files("brython") / "data" / "brython_stdlib.js").read_text("utf-8")
    start = text.index("{", text.index("var scripts"))
    scripts, _ = json.JSONDecoder().raw_decode(text, start)
    return list(scripts["math"])
