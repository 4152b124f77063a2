"""The line to an instrument: its words, its faults, cables pulled in mid-line, a thousand replugs, quick cancels."""

import asyncio
import gc
import os
import threading
from collections.abc import AsyncIterator
from io import BytesIO

import pytest
from awake import Awake
from link_bench import QUICK, Counting, connected, is_chunk, is_state, level, until

from drivers.connection import Connection, Patience
from drivers.errors import PortLost
from drivers.instrument import load
from drivers.ports import Identity, PortFinder, PortSeen
from drivers.reading import Chunk, Link, LinkChanged
from drivers.registry import make_decoder
from drivers.simulator.players import PtyPlayer
from drivers.transports import serial_port


async def test_words_of_the_line(player: PtyPlayer) -> None:
    async with connected(Connection(player.port, load("ascii-lines"), patience=QUICK)) as events:
        seen = await until(events, is_chunk)
        assert [e.state for e in seen if isinstance(e, LinkChanged)] == [Link.SEARCHING, Link.OPENING, Link.LIVE]


async def test_pulled_in_mid_line_and_back(player: PtyPlayer) -> None:
    connection = Connection(player.port, load("ascii-lines"), patience=QUICK)
    async with connected(connection) as events:
        await until(events, is_chunk)
        player.unplug()
        lost = await until(events, is_state(Link.LOST))
        assert "cut" in lost[-1].why
        await until(events, is_state(Link.WAITING))
        player.plug()
        await until(events, is_state(Link.LIVE))
        await until(events, is_chunk)


async def test_stale_then_lost_where_it_falls_silent(player: PtyPlayer) -> None:
    async with connected(Connection(player.port, load("ascii-lines"), patience=QUICK)) as events:
        await until(events, is_chunk)
        with player.lock:
            player.virtual.period_s = 1e6
            player.virtual.restart()
        await until(events, is_state(Link.STALE))
        lost = await until(events, is_state(Link.LOST))
        assert "nothing was heard" in lost[-1].why


async def test_asked_instrument_answers(player: PtyPlayer) -> None:
    for speak in ("polled", "scpi", "modbus", "pressure-modbus"):
        with PtyPlayer(level(speak)) as asked:
            instrument = load(asked.virtual.instrument)
            decoder = make_decoder(instrument)
            async with connected(Connection(asked.port, instrument, patience=QUICK)) as events:
                await until(events, lambda e, d=decoder: isinstance(e, Chunk) and len(d.feed(e)) > 0)


async def test_adapter_back_under_another_name(player: PtyPlayer) -> None:
    adapter = Identity(0x1234, 0x0001, "A1", "1-1.2")
    other = Identity(0x1234, 0x0001, "A2", "1-1.3")
    with PtyPlayer(level()) as second:
        listed = [PortSeen(player.device, "", adapter), PortSeen("/dev/ttyUSB9", "", other)]
        finder = PortFinder(lambda: list(listed))
        async with connected(Connection(player.device, load("ascii-lines"), patience=QUICK, finder=finder)) as events:
            await until(events, is_chunk)
            listed[:] = [PortSeen("/dev/ttyUSB9", "", other)]
            player.unplug()
            await until(events, is_state(Link.LOST))
            await until(events, lambda e: isinstance(e, LinkChanged) and "not plugged in" in e.why)
            listed.append(PortSeen(second.device, "", adapter))
            back = await until(events, is_state(Link.LIVE))
            assert any(isinstance(e, LinkChanged) and e.why == second.device for e in back)


def test_identity_by_serial_number_else_by_place() -> None:
    assert Identity(1, 2, "A", "1-1").matches(Identity(1, 2, "A", "2-4"))
    assert not Identity(1, 2, "A", "1-1").matches(Identity(1, 2, "B", "1-1"))
    assert Identity(1, 2, None, "1-1").matches(Identity(1, 2, None, "1-1"))
    assert not Identity(1, 2, None, "1-1").matches(Identity(1, 2, None, "1-2"))
    assert not Identity().matches(Identity())


@pytest.mark.parametrize("where", ["open", "chunks", "nothing"])
async def test_what_a_plug_in_did_not_name_is_named_and_healed(where: str) -> None:
    attempts: list[str] = []

    class Brittle:
        async def open(self) -> None:
            attempts.append(where)
            if where == "open" and len(attempts) > 1:
                raise RuntimeError("out of breath")

        async def chunks(self) -> AsyncIterator[Chunk]:
            if where != "nothing":
                yield Chunk(0.0, b"+1.00 in\r\n")
            if where == "chunks":
                raise RuntimeError("out of breath")

        async def write(self, data: bytes) -> None: ...

        async def close(self) -> None: ...

    connection = Connection("brittle://x", load("ascii-lines"), patience=QUICK, make=lambda *_: Brittle())
    async with connected(connection) as events:
        if where == "nothing":
            with pytest.raises(PortLost, match="the line was closed"):
                await until(events, is_state(Link.WAITING))
            return
        while len(attempts) < 4:
            seen = await until(events, is_state(Link.WAITING))
        assert "RuntimeError: out of breath" in seen[-1].why


async def test_closed_while_it_opens_nothing_stays_open() -> None:
    opening, may_open, done = asyncio.Event(), asyncio.Event(), []

    class Slow:
        async def open(self) -> None:
            opening.set()
            await may_open.wait()
            done.append("open")

        async def chunks(self) -> AsyncIterator[Chunk]:
            await asyncio.Event().wait()
            yield Chunk(0.0, b"")

        async def write(self, data: bytes) -> None: ...

        async def close(self) -> None:
            done.append("closed")

    connection = Connection("slow://x", load("ascii-lines"), make=lambda *_: Slow())

    async def follow() -> None:
        async for _ in connection.events():
            pass

    task = asyncio.ensure_future(follow())
    async with asyncio.timeout(5):
        await opening.wait()
        await connection.close()
        may_open.set()
        await task
    assert done[-2:] == ["open", "closed"]


async def test_silence_shorter_than_what_is_stale_is_a_loss(player: PtyPlayer) -> None:
    patience = Patience(opening=2.0, silence=0.3, stale=3600.0, pause=0.01)
    async with connected(Connection(player.port, load("ascii-lines"), patience=patience)) as events:
        await until(events, is_chunk)
        with player.lock:
            player.virtual.period_s = 1e6
            player.virtual.restart()
        lost = await until(events, is_state(Link.STALE, Link.LOST), 30.0)
        assert lost[-1].state is Link.LOST


async def test_a_long_pause_after_opening_is_no_failure(player: PtyPlayer) -> None:
    file = load("ascii-lines")
    slow = file.model_copy(update={"serial": file.serial.model_copy(update={"wait": "0.5 s"})})
    patience = Patience(opening=0.4, silence=5.0, stale=2.0)
    async with connected(Connection(player.port, slow, patience=patience)) as events:
        await until(events, is_chunk)


def descriptors() -> int:
    return len(os.listdir("/proc/self/fd"))


async def test_a_thousand_replugs_leave_nothing(player: PtyPlayer) -> None:
    patience = Patience(opening=2.0, silence=5.0, stale=2.0, pause=0.001, longest_pause=0.002)
    connection = Connection(player.port, load("ascii-lines"), patience=patience)
    with player.lock:
        player.virtual.period_s = 0.002
    async with connected(connection) as events:
        await until(events, is_chunk)
        await cycle(player, events, 10)
        gc.collect()
        before = (descriptors(), len(asyncio.all_tasks()), threading.active_count())
        await cycle(player, events, 1000)
        await until(events, is_chunk)
        gc.collect()
        after = (descriptors(), len(asyncio.all_tasks()), threading.active_count())
    assert all(b <= a + 1 for a, b in zip(before, after, strict=True)), (before, after)


async def cycle(player: PtyPlayer, events: AsyncIterator[Chunk | LinkChanged], count: int) -> None:
    for _ in range(count):
        player.unplug()
        await until(events, is_state(Link.LOST))
        player.plug()
        await until(events, is_state(Link.LIVE))


async def test_no_reading_is_invented_or_doubled_by_replugs() -> None:
    """The instrument counts its lines; what is decoded must be a subset in order, each at most once."""
    with PtyPlayer(Counting(level(rate_hz=500))) as player:
        decoder, got = make_decoder(load("ascii-lines-metres")), []
        async with connected(Connection(player.port, load("ascii-lines-metres"), patience=QUICK)) as events:
            for cycles in range(1, 31):
                wanted = 3 * cycles
                async for event in events:
                    if isinstance(event, LinkChanged) and event.state is Link.LOST:
                        decoder.reset()
                    elif isinstance(event, Chunk):
                        got += [round(r.height_m * 10000) for r in decoder.feed(event)]
                        if len(got) >= wanted:
                            break
                player.unplug()
                await until(events, is_state(Link.LOST))
                decoder.reset()
                player.plug()
                await until(events, is_state(Link.LIVE))
    assert len(got) >= 90
    assert got == sorted(set(got))
    assert got[-1] <= player.virtual.count


@pytest.mark.parametrize("state", [Link.SEARCHING, Link.OPENING, Link.LIVE, Link.STALE, Link.WAITING])
async def test_cancel_is_quick_in_every_state(player: PtyPlayer, state: Link, monkeypatch: pytest.MonkeyPatch) -> None:
    blocked = threading.Event()
    patience = Patience(opening=60, silence=60, stale=0.1, pause=30, longest_pause=30)
    finder = PortFinder()
    if state is Link.OPENING:
        monkeypatch.setattr(serial_port, "open_serial", lambda *_: BytesIO() if blocked.wait() else None)
    if state is Link.SEARCHING:

        def listing() -> list[PortSeen]:
            blocked.wait()
            return []

        finder = PortFinder(listing)
    connection = Connection(player.port, load("ascii-lines"), patience=patience, finder=finder)
    reached = asyncio.Event()

    async def follow() -> None:
        async for event in connection.events():
            if isinstance(event, LinkChanged) and event.state is state:
                reached.set()
            if isinstance(event, Chunk) and state is Link.WAITING:
                player.unplug()
            if isinstance(event, Chunk) and state is Link.STALE:
                with player.lock:
                    player.virtual.period_s = 1e6

    task = asyncio.ensure_future(follow())
    async with asyncio.timeout(5):
        await reached.wait()
    await asyncio.sleep(0)
    begun = Awake()
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    await connection.close()
    taken = begun.seconds
    blocked.set()
    assert taken < 0.2
