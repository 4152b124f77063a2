"""Commands of ours run beside the screen, so that a long one neither holds it nor takes it along when it fails."""

import asyncio
import sys


async def run(*words: str) -> tuple[int, str]:
    """Run a command; its exit code and the last line it said."""
    process = await asyncio.create_subprocess_exec(
        sys.executable,
        "-m",
        "tui.cli",
        *words,
        stdin=asyncio.subprocess.DEVNULL,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.STDOUT,
    )
    try:
        said, _ = await process.communicate()
    except asyncio.CancelledError:
        process.kill()
        await process.wait()
        raise
    lines = said.decode(errors="replace").strip().splitlines()
    return process.returncode or 0, lines[-1].removeprefix("Error: ").removeprefix("risewalk: ") if lines else ""
