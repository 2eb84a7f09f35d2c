"""The rules that let the very files of the judge run on the tablet and give the same digits there."""

import ast
from pathlib import Path

import pytest

import chairapp.judge

FILES = sorted(Path(chairapp.judge.__file__).parent.glob("*.py"))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_the_judge_imports_only_math_and_its_own(path):
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            assert [name.name for name in node.names] == ["math"]
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0
            assert node.module.startswith("chairapp.judge.")


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_the_judge_uses_nothing_in_which_the_browser_differs(path):
    """No round, no builtin sum, no float made into text, no isinstance on numbers."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id not in ("round", "sum", "format", "repr"), node.lineno
            if node.func.id == "isinstance":
                assert "int" not in ast.dump(node.args[1])
                assert "float" not in ast.dump(node.args[1])
        assert not isinstance(node, ast.JoinedStr), "no f-strings at all"
