"""The stranger's first minute: the built wheel, in a clean environment and an empty folder, does the whole job."""

import json
import os
import subprocess
import sys
import sysconfig
import tarfile
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Wheel and sdist, built from the checkout."""
    out = tmp_path_factory.mktemp("built")
    build = [sys.executable, "-m", "build", "--no-isolation", "--outdir", str(out), str(ROOT)]
    subprocess.run(build, check=True, capture_output=True)
    return out


@pytest.fixture(scope="module")
def clean_environment(built: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A new environment holding the wheel; its dependencies are seen, the checkout is not."""
    home = tmp_path_factory.mktemp("clean") / "venv"
    venv.create(home, with_pip=True)
    libraries = next(home.glob("lib/python*/site-packages"))
    (libraries / "dependencies.pth").write_text(sysconfig.get_path("purelib") + "\n")
    wheel = next(built.glob("*.whl"))
    pip = [home / "bin" / "python", "-m", "pip", "install", "--quiet", "--no-deps", "--no-index", wheel]
    subprocess.run(pip, check=True, capture_output=True)
    return home / "bin"


def test_wheel_holds_three_typed_packages_and_the_site(built: Path) -> None:
    names = zipfile.ZipFile(next(built.glob("*.whl"))).namelist()
    assert {f"{p}/py.typed" for p in ("drivers", "logger", "tui")} <= set(names)
    assert "tui/demo/ground.csv" in names
    assert not [n for n in names if n.startswith(("tests/", "fixtures/"))]
    with tarfile.open(next(built.glob("*.tar.gz"))) as sdist:
        assert any(n.endswith("/tests/flow/test_1_the_demo.py") for n in sdist.getnames())


def test_demo_leaves_every_artefact(clean_environment: Path, tmp_path: Path) -> None:
    bare = {k: v for k, v in os.environ.items() if not k.startswith(("PYTHON", "VIRTUAL_ENV"))}
    demo = subprocess.run(
        [clean_environment / "risewalk", "demo", "out"],
        cwd=tmp_path,
        env=bare,
        capture_output=True,
        text=True,
        timeout=100,
    )
    assert demo.returncode == 0, demo.stderr
    left = {p.name for p in (tmp_path / "out").iterdir()}
    assert {"alder-bank.walk", "profile.csv", "layout.json", "marks.json", "marks.html", "verify.json"} <= left

    profile = (tmp_path / "out" / "profile.csv").read_text().splitlines()
    assert profile[0] == "station_m,offset_m,elevation_m,u_m"
    assert len(profile) == 1 + 13
    layout = json.loads((tmp_path / "out" / "layout.json").read_text())
    best = layout["options"][layout["chosen"]]
    assert layout["rise_m"] == pytest.approx(2.39, abs=0.01), "from the lane at 0.01 m to the gate sill at 2.40 m"
    assert sum(best["depths_m"]) == pytest.approx(layout["run_m"], abs=1e-6)
    assert json.loads((tmp_path / "out" / "verify.json").read_text())["profile_identical"] is True
