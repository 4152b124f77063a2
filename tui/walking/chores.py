"""Commands of ours run beside the screen, so that a long one neither holds it nor takes it along when it fails."""

import asyncio
import json
import sys
from typing import Any


async def run(*words: str) -> tuple[int, str]:
    """Run a command; its exit code and the last line it said."""
    code, out, said = await _run(*words)
    return code, _last(said if code else out + said)


async def asked(*words: str) -> tuple[Any, str]:
    """Run a command with `--json`; what it answers, or None and why not."""
    code, out, said = await _run(*words, "--json")
    if code == 0:
        return json.loads(out), ""
    return None, _last(said) or "it ended without a word"


def _last(said: bytes) -> str:
    lines = said.decode(errors="replace").strip().splitlines()
    return lines[-1].removeprefix("Error: ").removeprefix("risewalk: ") if lines else ""


async def _run(*words: str) -> tuple[int, bytes, bytes]:
    process = await asyncio.create_subprocess_exec(
        sys.executable,
        "-m",
        "tui.cli",
        *words,
        stdin=asyncio.subprocess.DEVNULL,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.PIPE,
    )
    try:
        out, said = await process.communicate()
    except asyncio.CancelledError:
        process.kill()
        await process.wait()
        raise
    return process.returncode or 0, out, said
