"""What the tests of the steps share: profiles from points, briefs from fields, and the oracle."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="session")
def oracle() -> ModuleType:
    """The layout problem said again, apart from the solver."""
    path = Path(__file__).parent / "oracle.py"
    spec = importlib.util.spec_from_file_location("steps_oracle", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["steps_oracle"] = module
    spec.loader.exec_module(module)
    return module
