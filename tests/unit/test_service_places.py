"""Places for gateways' bodies: who dawdles goes when somebody else comes, and not before."""

import asyncio
import time

import pytest

from service.errors import TooManyError, TooSlowError
from service.ingest.places import Places

FOR_EVER = 3600.0


async def sent(places: Places, site: str, *, takes_s: float, size: int = 1000) -> str:
    """Send a body as the endpoint takes it; tells what became of it."""
    try:
        with places.taken(site, size) as place:
            await places.read(place, asyncio.sleep(takes_s))
            return "stored"
    except TooManyError:
        return "turned away"
    except TooSlowError:
        return "too slow"


def test_forty_slow_senders_keep_no_gateway_out() -> None:
    async def morning() -> tuple[list[str], list[str]]:
        places = Places(40, patience_s=0.05)
        slow = [
            asyncio.create_task(sent(places, f"slow {number % 4}", takes_s=FOR_EVER))
            for number in range(40)
        ]
        await asyncio.sleep(0)
        early = [await sent(places, "early", takes_s=0.0)]
        await asyncio.sleep(0.1)
        # Two hundred at once would be turned away with good reason; one after the other is not.
        told = [await sent(places, f"roof {number}", takes_s=0.0) for number in range(200)]
        done = [one.result() for one in slow if one.done()]
        for one in slow:
            one.cancel()
        return early + told, done

    (early, *told), done = asyncio.run(morning())
    assert early == "turned away"  # they may be on a bad line; for a moment they are waited for
    assert told == ["stored"] * 200
    assert done == ["too slow"]  # one place was enough for all that came


def test_who_is_slow_goes_on_while_nobody_wants_the_place() -> None:
    async def quiet() -> str:
        return await sent(Places(1, patience_s=0.01), "slow", takes_s=0.1)

    assert asyncio.run(quiet()) == "stored"


def test_even_alone_nobody_dawdles_for_ever() -> None:
    async def quiet() -> str:
        return await sent(Places(1, longest_s=0.05), "slow", takes_s=FOR_EVER)

    assert asyncio.run(quiet()) == "too slow"


def test_who_comes_at_the_very_moment_in_which_a_sender_runs_out_of_time_meets_no_error() -> None:
    async def at_once() -> tuple[list[type], str]:
        places = Places(1, patience_s=0.0, longest_s=0.01)
        slow = asyncio.create_task(sent(places, "slow", takes_s=FOR_EVER))
        await asyncio.sleep(0)
        met: list[type] = []

        def come() -> None:
            try:
                with places.taken("other", 10):
                    met.append(type(None))
            except Exception as error:
                met.append(type(error))

        asyncio.get_running_loop().call_later(0.02, come)
        time.sleep(0.05)  # so that both are due in one turn of the loop
        return met, await slow

    assert asyncio.run(at_once()) == ([TooManyError], "too slow")


def test_one_site_has_half_of_the_places_at_most() -> None:
    async def crowd() -> tuple[list[str], str]:
        places = Places(6, patience_s=FOR_EVER)
        own = [asyncio.create_task(sent(places, "greedy", takes_s=0.1)) for _ in range(6)]
        await asyncio.sleep(0)
        other = await sent(places, "other", takes_s=0.0)
        return [await one for one in own], other

    own, other = asyncio.run(crowd())
    assert sorted(own) == ["stored"] * 3 + ["turned away"] * 3
    assert other == "stored"


def test_who_is_being_stored_is_not_sent_away() -> None:
    async def storing() -> str:
        places = Places(1, patience_s=0.01)
        with places.taken("one", 10) as place:
            await places.read(place, asyncio.sleep(0))
            await asyncio.sleep(0.05)  # its body is there; the disk is slow
            return await sent(places, "other", takes_s=0.0)

    assert asyncio.run(storing()) == "turned away"


def test_bodies_that_say_to_be_large_share_the_memory() -> None:
    async def large() -> list[str]:
        places = Places(40, patience_s=FOR_EVER)
        given = (sent(places, f"roof {n}", takes_s=0.05, size=30 * 2**20) for n in range(4))
        return list(await asyncio.gather(*given))

    assert sorted(asyncio.run(large())) == ["stored"] * 2 + ["turned away"] * 2


def test_all_places_are_free_again_whatever_happened() -> None:
    async def after() -> str:
        places = Places(2, patience_s=0.01)
        for _ in range(5):
            with pytest.raises(ZeroDivisionError), places.taken("one", 10):
                raise ZeroDivisionError
        slow = asyncio.create_task(sent(places, "slow", takes_s=FOR_EVER))
        also = asyncio.create_task(sent(places, "also", takes_s=FOR_EVER))
        await asyncio.sleep(0.05)
        for _ in range(3):
            assert await sent(places, "third", takes_s=0.0) == "stored"
        also.cancel()
        await asyncio.gather(slow, also, return_exceptions=True)
        return " ".join([await sent(places, f"{n}", takes_s=0.0) for n in range(4)])

    assert asyncio.run(after()) == " ".join(["stored"] * 4)
