"""`listen`: bytes and readings live, or an unknown instrument identified."""

import asyncio
import signal
import sys
from collections import Counter
from collections.abc import Coroutine, Sequence
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from tui.cli.numbers import Finite
from tui.cli.output import emit_json

if TYPE_CHECKING:
    from drivers.decoders import Decoder
    from drivers.identify.hearing import Identified
    from drivers.instrument import InstrumentFile
    from drivers.reading import Chunk, LinkChanged, Reading, Reject

T = TypeVar("T")

IDENTIFY_S = 10.0
FEWEST_SHOWN_S = 0.1
SHOWN = 5

HELP = """Listen to PORT. With no --instrument, identify what sends there and propose an instrument file.

\b
    risewalk listen /dev/ttyUSB0                        raise and lower the probe meanwhile
    risewalk listen /dev/ttyUSB0 --save my-level        keep the proposal under this name
    risewalk listen /dev/ttyUSB0 --instrument my-level  show its heights

Nothing is sent to the port unless --ask allows it.
"""


@click.command("listen", help=HELP, short_help="Show readings live, or identify an unknown instrument.")
@click.argument("port")
@click.option("--instrument", default="", help="Name or file of the instrument; none: identify it.")
@click.option("--seconds", type=Finite(0.2, 86400), help="How long to listen (default: 10 to identify).")
@click.option("--ask", is_flag=True, help="Allow questions to an instrument that is silent.")
@click.option(
    "--bytes", "show_bytes", is_flag=True, help="With --instrument: also the bytes as they come, hex over Bluetooth."
)
@click.option("--save", default="", help="Keep the proposal under this name in your own folder.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object at the end.")
def command(port: str, *, instrument: str, seconds: float | None, save: str, as_json: bool, **how: bool) -> None:
    """Identify, or follow a known instrument."""
    if instrument:
        _follow(port, instrument, seconds, as_json=as_json, show_bytes=how["show_bytes"])
    else:
        _identify(port, seconds or IDENTIFY_S, save, ask=how["ask"], as_json=as_json)


def _identify(port: str, seconds: float, save: str, *, ask: bool, as_json: bool) -> None:
    from drivers.identify.hearing import identify

    if sys.stderr.isatty() and not as_json:
        click.echo(f"listening for {seconds:g} s; raise and lower the probe now and then", err=True)
    if port.lower().startswith("ble://"):
        from drivers.ble_identify import identify_ble

        found = _run(identify_ble(port, seconds))
    else:
        found = _run(identify(port, seconds, ask=ask))
    if as_json:
        emit_json(_document(port, found))
    else:
        _tell(port, found, ask=ask)
    _keep(found, save)


def _document(port: str, found: "Identified") -> dict[str, Any]:
    from drivers.identify.hearing import proposed

    best = found.best
    return {
        "port": port,
        "bytes": found.bytes,
        "instrument": None if best is None else proposed(best),
        "confidence": 0.0 if best is None else best.confidence,
        "readings": _readings(found.readings),
        "rejects": _rejects(found.rejects),
        "candidates": [
            {"instrument": proposed(c), "confidence": c.confidence, "reasons": list(c.reasons)}
            for c in found.candidates
        ],
    }


def _readings(readings: "Sequence[Reading]") -> list[dict[str, Any]]:
    from time import monotonic

    started = datetime.now(UTC) - timedelta(seconds=monotonic())
    rows = []
    for reading in readings:
        at = started + timedelta(seconds=reading.t_s)
        row: dict[str, Any] = {"height_m": reading.height_m, "at": at.isoformat(timespec="milliseconds")}
        row["at"] = row["at"].replace("+00:00", "Z")
        extra = {"temperature_c": reading.temperature_c, "battery": reading.battery, "stable": reading.stable}
        rows.append(row | {name: value for name, value in extra.items() if value is not None})
    return rows


def _rejects(rejects: "Counter[Reject]") -> dict[str, int]:
    from drivers.reading import Reject

    return {str(reason): rejects[reason] for reason in Reject}


def _tell(port: str, found: "Identified", *, ask: bool) -> None:
    from drivers.identify.hearing import is_sure
    from drivers.instrument import dump
    from tui.cli import printable

    best = found.best
    if best is None or best.instrument is None:
        click.echo(f"{port}: {found.bytes} bytes heard, {_why_nothing(found, ask=ask)}")
        for candidate in found.candidates:
            click.echo("  " + printable("; ".join(candidate.reasons)))
        return
    word = "identified" if is_sure(best) else "unsure"
    click.echo(f"{port}: {found.bytes} bytes heard, {word} (confidence {best.confidence:.2f})")
    for reason in best.reasons:
        click.echo(f"  {printable(reason)}")
    for other in found.candidates[1:]:
        click.echo(f"  or, confidence {other.confidence:.2f}: {printable('; '.join(other.reasons))}")
    click.echo("")
    click.echo(dump(best.instrument).rstrip())
    click.echo("")
    for reading in found.readings[-SHOWN:]:
        click.echo(f"  {reading.height_m:+.4f} m")
    click.echo(f"{len(found.readings)} readings. Does the height grow when the probe goes up? If not, set up = -1.")


def _why_nothing(found: "Identified", *, ask: bool) -> str:
    if not found.silent:
        return "nothing in them was recognised; is it another speed, or a protocol of its own?"
    if ask:
        return "and no answer to any question; is it switched on?"
    return "it is silent; is it switched on? If it must be asked, allow it with --ask"


def _keep(found: "Identified", save: str) -> None:
    from drivers.instrument import dump, user_folder
    from logger.errors import CannotWrite

    best = found.best
    proposal = best.instrument if best is not None else None
    if proposal is None:
        return
    if not save and sys.stdin.isatty() and sys.stderr.isatty():
        save = click.prompt("keep it under which name? (empty: not at all)", default="", show_default=False, err=True)
    if not save:
        return
    path = Path(save) if save.endswith(".toml") else user_folder() / f"{save}.toml"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8") as file:
            file.write(dump(proposal))
    except FileExistsError:
        raise CannotWrite(
            path, "it is there already and stays as it is; keep the proposal under another name"
        ) from None
    except OSError as error:
        raise CannotWrite(path, f"it cannot be written: {error.strerror}") from error
    click.echo(f"kept as {path}; use it with --instrument {save}", err=True)


def _follow(port: str, name: str, seconds: float | None, *, as_json: bool, show_bytes: bool) -> None:
    from drivers.instrument import load

    instrument = load(name)
    with suppress(KeyboardInterrupt):
        _run(_followed(port, instrument, seconds, as_json=as_json, show_bytes=show_bytes))


def _run(work: Coroutine[Any, Any, T]) -> T:
    """Run it to its end; termination and hang-up end it as Ctrl+C does, so that the instrument is let go."""

    async def watched() -> T:
        task, loop = asyncio.current_task(), asyncio.get_running_loop()
        assert task is not None
        for name in ("SIGTERM", "SIGHUP"):
            with suppress(AttributeError, NotImplementedError, RuntimeError, ValueError):
                loop.add_signal_handler(getattr(signal, name), task.cancel)
        return await work

    try:
        return asyncio.run(watched())
    except asyncio.CancelledError:
        raise KeyboardInterrupt from None


async def _followed(
    port: str, instrument: "InstrumentFile", seconds: float | None, *, as_json: bool, show_bytes: bool
) -> None:
    from drivers.connection import Connection
    from drivers.instrument import tables
    from drivers.registry import make_decoder

    heard = _Heard(make_decoder(instrument), as_json=as_json, show_bytes=show_bytes)
    connection = Connection(port, instrument)

    async def follow() -> None:
        async for event in connection.events():
            heard.take(event)

    try:
        with suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await follow()
    finally:
        await connection.close()
    decoder = heard.decoder
    if as_json:
        document = {"port": port, "bytes": heard.bytes, "instrument": tables(instrument), "confidence": 1.0}
        rest = {"readings": _readings(heard.readings), "rejects": _rejects(decoder.rejects), "candidates": []}
        told = {"remarks": list(decoder.remarks), "device": dict(getattr(decoder, "facts", {}))}
        emit_json(document | rest | told)
    elif decoder.rejects:
        click.echo("refused: " + ", ".join(f"{n} {reason}" for reason, n in decoder.rejects.items()), err=True)


class _Heard:
    """What a known instrument says, shown as it comes; for JSON kept until the end."""

    def __init__(self, decoder: "Decoder", *, as_json: bool, show_bytes: bool) -> None:
        self.decoder = decoder
        self.bytes = 0
        self.readings: list[Reading] = []
        self._as_json, self._show_bytes = as_json, show_bytes
        self._shown_s = 0.0
        self._remarks: list[str] = []

    def take(self, event: "Chunk | LinkChanged") -> None:
        """Decode one chunk, or tell what happened to the line."""
        from drivers.reading import Chunk
        from tui.cli import printable

        if not isinstance(event, Chunk):
            if event.why:
                click.echo(f"{event.state}: {printable(event.why)}", err=True)
            return
        self.bytes += len(event.data)
        readings = self.decoder.feed(event)
        for remark in self.decoder.remarks:
            if remark not in self._remarks:
                click.echo(printable(remark), err=True)
        self._remarks = list(self.decoder.remarks)
        if self._as_json:
            self.readings += readings
            return
        if self._show_bytes:
            shown = f"{event.channel} {event.data.hex()}" if event.channel else repr(event.data)
            click.echo(printable(shown))
        if readings and event.t_s - self._shown_s >= FEWEST_SHOWN_S:
            self._shown_s = event.t_s
            click.echo(f"{readings[-1].height_m:+.4f} m")
