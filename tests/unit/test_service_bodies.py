"""How slowly a body may come: a phone on a bad line is waited for, who lets it trickle is not."""

import asyncio
from collections.abc import Iterable

import pytest

from service.asgi import Message
from service.bodies import SLOW_PHONE, Body, Pace
from service.errors import ServiceError, TooLargeError, TooSlowError
from tests.build_loop import run_skipping

MIB = 1024 * 1024
Parts = Iterable[tuple[float, int]]  # seconds to wait, then so many bytes


def coming(parts: Parts, *, ends: bool = True):
    """Give what hands these parts over; after them the end, or silence for ever."""
    left = iter(parts)

    async def receive() -> Message:
        wait_s, size = next(left, (0.0 if ends else 1e9, 0))
        await asyncio.sleep(wait_s)
        return {"type": "http.request", "body": bytes(size), "more_body": size > 0}

    return receive


def taken(
    parts: Parts, *, ends: bool = True, pace: Pace | None = SLOW_PHONE, limit: int = 200 * MIB
) -> tuple[str, float]:
    """Take a body to its end; tells what became of it, and after how many seconds."""

    async def whole() -> tuple[str, float]:
        body = Body(coming(parts, ends=ends), limit_bytes=limit, pace=pace, waits=False)
        loop = asyncio.get_running_loop()
        try:
            while not body.complete:
                await body.receive()
        except ServiceError:
            return type(body.refusal).__name__, loop.time()
        return "taken", loop.time()

    return run_skipping(whole())


def test_a_slow_phone_is_waited_for_for_hours() -> None:
    # 24 MiB at 3 kB/s, and every ten minutes 45 s without any connection.
    parts = [(45.0 if number % 600 == 0 else 1.0, 3000) for number in range(1, 8400)]
    became, took_s = taken(parts)
    assert became == "taken"
    assert took_s > 2 * 3600


def test_a_photo_of_ten_megabytes_comes_over_the_slowest_line() -> None:
    # Two kilobytes a second, a twentieth less, and for half a minute of every five nothing.
    parts = [(30.0 if number % 300 == 0 else 1.0, 1900) for number in range(1, 5500)]
    assert taken(parts, limit=12 * MIB)[0] == "taken"


@pytest.mark.parametrize("size", [1, 100, 900])
def test_bytes_that_trickle_are_let_go(size: int) -> None:
    became, took_s = taken([(1.0, size)] * 100_000)
    assert became == "TooSlowError"
    # The minute in hand, longer the nearer it comes to what is asked for; with less than a second
    # left the next byte comes too late.
    assert took_s == pytest.approx(59.0 / (1 - size / 1000.0) + 1.0, abs=1.0)


def test_a_byte_now_and_then_is_let_go_as_soon_as_silence() -> None:
    assert taken([(59.0, 1)] * 100)[0] == "TooSlowError"
    assert taken([], ends=False) == ("TooSlowError", pytest.approx(60.0))


def test_much_at_first_buys_no_more_than_the_minute() -> None:
    became, took_s = taken([(0.0, 100 * MIB)], ends=False)
    assert became == "TooSlowError"
    assert took_s == pytest.approx(60.0)


def test_what_we_do_in_between_is_not_the_senders_time() -> None:
    async def busy() -> bool:
        body = Body(coming([(1.0, 10)] * 3), limit_bytes=MIB, pace=SLOW_PHONE, waits=False)
        while not body.complete:
            await body.receive()
            await asyncio.sleep(50.0)  # a disk that is slow
        return body.complete

    assert run_skipping(busy())


def test_after_its_end_nobody_waits_for_the_sender() -> None:
    async def listening() -> float:
        async def gone() -> Message:
            await asyncio.sleep(600.0)
            return {"type": "http.disconnect"}

        body = Body(gone, limit_bytes=MIB, pace=SLOW_PHONE, waits=False)
        body.complete = True
        assert (await body.receive())["type"] == "http.disconnect"
        return asyncio.get_running_loop().time()

    assert run_skipping(listening()) == pytest.approx(600.0)


def test_without_a_pace_only_the_size_counts() -> None:
    assert taken([(500.0, 10)] * 3, pace=None)[0] == "taken"
    assert taken([(0.0, MIB)] * 3, pace=None, limit=2 * MIB)[0] == TooLargeError.__name__


def test_the_rest_of_a_refused_body_is_waited_for_but_not_that_of_a_slow_one() -> None:
    async def after(parts: Parts, *, slow: bool) -> tuple[bool, float]:
        body = Body(coming(parts), limit_bytes=MIB, pace=SLOW_PHONE, waits=False)
        body.refusal = TooSlowError("") if slow else TooLargeError("")
        return await body.throw_away(), asyncio.get_running_loop().time()

    assert run_skipping(after([(1.0, MIB)] * 10, slow=False)) == (True, pytest.approx(10.0))
    assert run_skipping(after([(1.0, 1)] * 1000, slow=False)) == (False, pytest.approx(60.0))
    assert run_skipping(after([(1.0, MIB)] * 10, slow=True)) == (False, 0.0)
