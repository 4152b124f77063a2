"""What holds for every registered transport: it opens, names its failures, is given up at once, and leaves nothing."""

import asyncio
import gc
import os
import sys
import threading
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from awake import Awake
from stands import BLOCKING, CUT, STANDS, Stand, until

from drivers.connection import Connection, Patience
from drivers.errors import PortBusy, PortError, PortLost, PortMissing
from drivers.reading import Chunk, Link, LinkChanged
from drivers.registry import list_transports, make_decoder, make_transport
from drivers.transports import Transport

OURS = ("", "risewalk")
AT_ONCE_S = 0.2
LATER_S = 1e6
PATIENCE = Patience(opening=20.0, silence=10.0, stale=5.0, pause=0.01, longest_pause=0.05)


@pytest.fixture(params=STANDS)
async def stand(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> AsyncIterator[Stand]:
    async with STANDS[request.param](tmp_path, monkeypatch) as standing:
        yield standing


def link_to(stand: Stand, port: str = "") -> Transport:
    return make_transport(port or stand.port, stand.instrument)


@asynccontextmanager
async def opened(stand: Stand) -> AsyncIterator[Transport]:
    link = link_to(stand)
    await link.open()
    try:
        yield link
    finally:
        await link.close()


async def take(link: Transport, count: int) -> list[Chunk]:
    got = []
    async with asyncio.timeout(30):
        async for chunk in link.chunks():
            got.append(chunk)
            if len(got) == count:
                break
    return got


def test_every_registered_transport_is_here() -> None:
    """A transport of another package has that package's tests."""
    registered = {t.name for t in list_transports() if t.package in OURS}
    assert {name.split(",")[0] for name in STANDS} == registered


async def test_unopened_it_reads_and_writes_nothing_and_closes(stand: Stand) -> None:
    link = link_to(stand)
    with pytest.raises(PortMissing, match="not open"):
        await take(link, 1)
    with pytest.raises(PortLost, match="not open"):
        await link.write(b"x")
    await link.close()
    await link.close()


async def test_it_brings_bytes_stamped_on_arrival_that_its_decoder_reads(stand: Stand) -> None:
    link = make_transport(stand.port, stand.instrument, lambda: time.monotonic() + LATER_S)
    begun = time.monotonic() + LATER_S
    await link.open()
    decoder, readings = make_decoder(stand.instrument), 0
    times = [begun]
    async with asyncio.timeout(30):
        async for chunk in link.chunks():
            times.append(chunk.t_s)
            readings += len(decoder.feed(chunk))
            if readings >= 5:
                break
    await link.close()
    times.append(time.monotonic() + LATER_S)
    assert times == sorted(times)


async def test_what_is_missing_is_named(stand: Stand) -> None:
    link = link_to(stand, stand.missing)
    with pytest.raises(PortError) as caught:
        await link.open()
    assert caught.value.port == stand.missing
    assert str(caught.value).startswith(f"{stand.missing}: ")
    assert len(str(caught.value)) > len(stand.missing) + 20
    await link.close()
    await link.close()


async def test_a_second_owner_is_refused(stand: Stand) -> None:
    async with opened(stand) as link:
        await take(link, 1)
        second = link_to(stand)
        if stand.one_owner:
            with pytest.raises(PortBusy):
                await second.open()
        await second.close()
        assert await take(link, 1), "the first one was disturbed"


async def test_closed_it_ends_what_is_read_and_closes_twice(stand: Stand) -> None:
    link = link_to(stand)
    await link.open()
    await take(link, 1)
    reading = asyncio.create_task(take(link, 10**9))
    await asyncio.sleep(0)
    await link.close()
    await link.close()
    async with asyncio.timeout(5):
        await reading
    with pytest.raises(PortLost):
        await link.write(b"x")


@pytest.mark.parametrize("stand", CUT, indirect=True)
async def test_a_lost_line_is_named_and_another_link_can_be_made(stand: Stand) -> None:
    async with opened(stand) as link:
        await take(link, 1)
        stand.lose(link)
        with pytest.raises(PortLost, match=stand.port.split("?")[0]):
            await take(link, 10**9)
    stand.restore()
    async with opened(stand) as link:
        assert await take(link, 1)


async def states_of(stand: Stand, *, cut: bool) -> list[Link]:
    """What a connection tells until it has been live, and once more after a cut; then it is closed."""
    made: list[Transport] = []

    def make(*how: object) -> Transport:
        made.append(make_transport(*how))  # type: ignore[arg-type]
        return made[-1]

    connection = Connection(stand.port, stand.instrument, patience=PATIENCE, make=make)
    states = []
    async with asyncio.timeout(60):
        async for event in connection.events():
            if not isinstance(event, LinkChanged):
                continue
            states.append(event.state)
            if event.state is Link.LIVE and cut and len(made) == 1:
                stand.lose(made[-1])
            elif event.state is Link.LIVE:
                await connection.close()
            if event.state is Link.LOST:
                stand.restore()
    return states


OPENING = [Link.SEARCHING, Link.OPENING, Link.LIVE]


async def test_a_connection_opens_over_it_and_closes(stand: Stand) -> None:
    assert await states_of(stand, cut=False) == [*OPENING, Link.CLOSED]


@pytest.mark.parametrize("stand", CUT, indirect=True)
async def test_a_connection_heals_over_it(stand: Stand) -> None:
    assert await states_of(stand, cut=True) == [*OPENING, Link.LOST, Link.WAITING, *OPENING, Link.CLOSED]


async def used(link: Transport, reached: asyncio.Event) -> None:
    await link.open()
    async for _ in link.chunks():
        reached.set()


async def given_up(stand: Stand, begun: Callable[[asyncio.Event], object]) -> None:
    """Give a link up once its use has come so far."""
    link, reached = link_to(stand), asyncio.Event()
    using = asyncio.create_task(used(link, reached))
    await until(lambda: begun(reached))
    awake = Awake()
    using.cancel()
    with pytest.raises(asyncio.CancelledError):
        await using
    await link.close()
    assert awake.seconds < AT_ONCE_S
    stand.unblock()


async def test_given_up_while_it_is_read_it_is_closed_at_once(stand: Stand) -> None:
    await given_up(stand, lambda reached: reached.is_set())


@pytest.mark.parametrize("stand", BLOCKING, indirect=True)
async def test_given_up_while_it_opens_it_is_closed_at_once(stand: Stand, monkeypatch: pytest.MonkeyPatch) -> None:
    stand.block(monkeypatch)
    await given_up(stand, lambda _: stand.blocks)


def left() -> tuple[int, int, int]:
    """Descriptors, tasks and threads there are."""
    return len(os.listdir("/proc/self/fd")), len(asyncio.all_tasks()), threading.active_count()


async def test_many_links_leave_nothing(stand: Stand) -> None:
    async def once() -> None:
        async with opened(stand) as link:
            await take(link, 2)

    await once()
    await once()
    gc.collect()
    before = left()
    for _ in range(20):
        await once()
    gc.collect()
    await until(lambda: all(now <= then for now, then in zip(left(), before, strict=True)))
