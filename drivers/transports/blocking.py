"""Work that may block for long, in a daemon thread of its own: given up at once, and no delay to the exit."""

import asyncio
import threading
from collections.abc import Callable
from typing import TypeVar

T = TypeVar("T")


async def blocking(work: Callable[[], T], *, late: Callable[[T], object] | None = None) -> T:
    """Run `work` and return what it returns; if cancelled first, its result goes to `late` when it does end."""
    loop = asyncio.get_running_loop()
    done: asyncio.Future[T] = loop.create_future()

    def deliver(result: T | None, error: BaseException | None) -> None:
        if done.cancelled():
            if error is None and late is not None:
                threading.Thread(target=late, args=(result,), daemon=True).start()
        elif error is not None:
            done.set_exception(error)
        else:
            done.set_result(result)  # type: ignore[arg-type]

    def run() -> None:
        result, error = None, None
        try:
            result = work()
        except BaseException as raised:
            error = raised
        try:
            loop.call_soon_threadsafe(deliver, result, error)
        except RuntimeError:
            if error is None and late is not None:
                late(result)  # type: ignore[arg-type]

    threading.Thread(target=run, name="blocking", daemon=True).start()
    return await done
