"""Somebody else's package with a transport and a decoder, installed for real beside ours; and broken ones."""

import json
import os
import subprocess
import sysconfig
import venv
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PROJECT = """
[build-system]
requires = ["hatchling"]
build-backend = "hatchling.build"
[project]
name = "plumb-line"
version = "0.1"
[project.entry-points."risewalk.transports"]
canned = "plumb_line.canned:CannedTransport"
rotten = "plumb_line.rotten:Transport"
[project.entry-points."risewalk.decoders"]
paces = "plumb_line.paces:PacesDecoder"
nowhere = "plumb_line.not_there:Decoder"
rotten = "plumb_line.rotten:Decoder"
"""
PACES = '''
"""A height in whole millimetres between angle brackets."""

import re

from drivers.decoders import BaseDecoder
from drivers.reading import Reading, Reject


class PacesDecoder(BaseDecoder):
    def __init__(self, instrument):
        super().__init__()
        self._rest = b""

    def reset(self):
        self._rest = b""

    def feed(self, chunk):
        *whole, self._rest = (self._rest + chunk.data).split(b">")
        readings = []
        for piece in whole:
            found = re.fullmatch(rb"<(-?[0-9]+)", piece.strip())
            if found is None:
                self.rejects[Reject.NOT_MINE] += 1
            else:
                readings.append(Reading(chunk.t_s, int(found[1]) / 1000))
        return readings
'''
CANNED = '''
"""Says one thing and ends: canned://TEXT."""

from drivers.reading import Chunk


class CannedTransport:
    def __init__(self, port, instrument, clock):
        self.text, self.clock = port.partition("://")[2], clock

    async def open(self):
        pass

    async def chunks(self):
        yield Chunk(self.clock(), self.text.encode())

    async def write(self, data):
        pass

    async def close(self):
        pass
'''
IN_THE_VENV = """
import asyncio, json, sys
from drivers.connection import Connection
from drivers.instrument import load
from drivers.reading import Chunk
from drivers.registry import list_decoders, list_transports, make_decoder
listed = [[d.name, d.package] for d in (*list_transports(), *list_decoders())]
imported = sorted(m for m in sys.modules if m.startswith("plumb_line"))
instrument = load(sys.argv[1])

async def heights():
    decoder, connection = make_decoder(instrument), Connection("canned://<1250><-40>", instrument)
    async for event in connection.events():
        if isinstance(event, Chunk):
            heard = [r.height_m for r in decoder.feed(event)]
            await connection.close()
    return heard

print(json.dumps({"listed": listed, "imported": imported, "heights": asyncio.run(heights())}))
"""


@pytest.fixture(scope="module")
def environment(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The programs of a new environment that holds the package; ours and all dependencies are seen."""
    folder = tmp_path_factory.mktemp("plug-in")
    package = folder / "source" / "plumb_line"
    package.mkdir(parents=True)
    (folder / "source" / "pyproject.toml").write_text(PROJECT)
    (package / "__init__.py").write_text("")
    (package / "paces.py").write_text(PACES)
    (package / "canned.py").write_text(CANNED)
    (package / "rotten.py").write_text('raise RuntimeError("fell off the shelf")\n')
    venv.create(folder / "venv", with_pip=True)
    libraries = next((folder / "venv").glob("lib/python*/site-packages"))
    (libraries / "dependencies.pth").write_text(f"{ROOT}\n{sysconfig.get_path('purelib')}\n")
    install = [folder / "venv" / "bin" / "python", "-m", "pip", "install", "--quiet", "--no-index", "--no-deps"]
    done = subprocess.run(
        [*install, "--no-build-isolation", folder / "source"], env=bare(folder), capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    return folder / "venv" / "bin"


def bare(home: Path) -> dict[str, str]:
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("PYTHON", "VIRTUAL_ENV", "XDG_"))}
    return kept | {"HOME": str(home)}


def run(environment: Path, folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    line = [environment / "python", *words]
    return subprocess.run(line, cwd=folder, env=bare(folder), capture_output=True, text=True, timeout=60)


def instrument_file(folder: Path, kind: str) -> str:
    path = folder / f"{kind}.toml"
    path.write_text(f'[instrument]\nname = "Plumb line"\n[decoder]\nkind = "{kind}"\n')
    return str(path)


def test_names_are_listed_without_importing_and_both_parts_work(environment: Path, tmp_path: Path) -> None:
    done = run(environment, tmp_path, "-c", IN_THE_VENV, instrument_file(tmp_path, "paces"))
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    for name in ("canned", "paces", "nowhere", "rotten"):
        assert [name, "plumb-line"] in told["listed"]
    assert told["imported"] == []
    assert told["heights"] == [1.25, -0.04]


def test_check_decodes_a_capture_by_the_plug_in(environment: Path, tmp_path: Path) -> None:
    capture = tmp_path / "capture.bin"
    capture.write_bytes(b"<1250>junk>\r\n<-40><7")
    mine = instrument_file(tmp_path, "paces")
    done = run(
        environment, tmp_path, "-m", "tui.cli", "instruments", "check", mine, "--against", str(capture), "--json"
    )
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    assert [r["height_m"] for r in document["readings"]] == [1.25, -0.04]
    assert document["rejects"] == {"not_mine": 1}


@pytest.mark.parametrize(
    ("kind", "says"),
    [("rotten", "RuntimeError: fell off the shelf"), ("nowhere", "ModuleNotFoundError"), ("unheard", "no decoder")],
)
def test_broken_decoder_is_a_message(environment: Path, tmp_path: Path, kind: str, says: str) -> None:
    done = run(environment, tmp_path, "-m", "tui.cli", "instruments", "check", instrument_file(tmp_path, kind))
    assert done.returncode == 4
    assert done.stdout == ""
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    if kind != "unheard":
        assert "plumb-line" in done.stderr


def test_broken_transport_is_a_message(environment: Path, tmp_path: Path) -> None:
    done = run(
        environment, tmp_path, "-m", "tui.cli", "listen", "rotten://x", "--instrument", "ascii-lines", "--seconds", "1"
    )
    assert done.returncode == 3
    assert "fell off the shelf" in done.stderr
    assert "plumb-line" in done.stderr
    assert "Traceback" not in done.stderr
