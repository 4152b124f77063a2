"""House style that no linter checks: sizes of modules and functions, and the fixed top level."""

import ast
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
MODULES = sorted(p for name in ("drivers", "logger", "tui") for p in (ROOT / name).rglob("*.py"))


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_module_is_small_and_documented(path: Path) -> None:
    text = path.read_text()
    tree = ast.parse(text)
    assert len(text.splitlines()) <= 400
    assert ast.get_docstring(tree), "a module says where it stands in the flow"
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            assert (node.end_lineno or 0) - node.lineno < 40, f"{node.name} is longer than 40 lines"


def test_top_level_is_fixed() -> None:
    allowed = {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "logger",
        "drivers",
        "tui",
        "tests",
        "fixtures",
    }
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    top = {line.split("/")[0] for line in listed.splitlines()}
    assert {name for name in top if not name.startswith(".")} <= allowed
