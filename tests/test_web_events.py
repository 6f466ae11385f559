"""Who hears of changes, and how a stream ends."""

from __future__ import annotations

import asyncio
import json
import threading

from firstpull.web.events import HEARTBEAT, MOST_WAITING, RELOAD, EventHub


async def settle() -> None:
    """Let what was sent from elsewhere arrive."""
    for _ in range(3):
        await asyncio.sleep(0)


def test_what_another_thread_publishes_is_heard_by_all() -> None:
    async def run() -> list[bytes]:
        hub = EventHub()
        one, two = hub.listen(), hub.listen()
        assert await anext(one) == await anext(two) == b"event: hello\ndata: {}\n\n"
        assert hub.listeners == 2
        thread = threading.Thread(target=hub.publish, args=("job", {"id": "a1", "version": 3}))
        thread.start()
        return [await anext(one), await anext(two)]

    first, second = asyncio.run(run())
    assert first == second
    name, data = first.decode().splitlines()[:2]
    assert name == "event: job"
    assert json.loads(data.removeprefix("data: ")) == {"id": "a1", "version": 3}


def test_a_line_break_in_a_value_does_not_break_the_event() -> None:
    async def run() -> bytes:
        hub = EventHub()
        stream = hub.listen()
        await anext(stream)
        hub.publish("run", {"what": "one\n\nevent: forged\ndata: {}"})
        return await anext(stream)

    assert asyncio.run(run()).count(b"\n") == 3


def test_a_listener_too_slow_is_told_to_read_everything_anew() -> None:
    async def run() -> list[bytes]:
        hub = EventHub()
        stream = hub.listen()
        await anext(stream)
        for number in range(MOST_WAITING + 1):
            hub.publish("run", {"share": number})
        await settle()
        hub.publish("job", {"id": "later"})
        await settle()
        return [await anext(stream), await anext(stream)]

    first, second = asyncio.run(run())
    assert first == RELOAD
    assert b"later" in second


def test_a_quiet_stream_says_that_it_is_still_there() -> None:
    async def run() -> bytes:
        stream = EventHub(heartbeat_seconds=0.01).listen()
        await anext(stream)
        return await anext(stream)

    assert asyncio.run(run()) == HEARTBEAT
    assert HEARTBEAT.startswith(b":") and HEARTBEAT.endswith(b"\n\n")


def test_closing_ends_open_streams_and_later_ones() -> None:
    async def run() -> None:
        hub = EventHub()
        stream = hub.listen()
        await anext(stream)
        hub.publish("job", {"id": "a1"})
        threading.Thread(target=hub.close).start()
        rest = [message async for message in stream]
        assert len(rest) == 1 and hub.listeners == 0
        assert [message async for message in hub.listen()] == []

    asyncio.run(run())


def test_closing_ends_a_stream_that_is_far_behind() -> None:
    async def run() -> list[bytes]:
        hub = EventHub()
        stream = hub.listen()
        await anext(stream)
        hub.close()
        for number in range(3 * MOST_WAITING):
            hub.publish("run", {"share": number})
        await settle()
        return [message async for message in stream]

    assert asyncio.run(run()) == []


def test_a_page_that_goes_away_is_forgotten() -> None:
    async def run() -> None:
        hub = EventHub()
        stream = hub.listen()
        await anext(stream)
        await stream.aclose()  # type: ignore[attr-defined]
        assert hub.listeners == 0
        hub.publish("job", {"id": "a1"})

    asyncio.run(run())


def test_a_listener_whose_loop_has_ended_does_not_stop_the_others() -> None:
    hub = EventHub()
    stream = hub.listen()
    loop = asyncio.new_event_loop()
    loop.run_until_complete(anext(stream))
    loop.close()
    hub.publish("job", {"id": "a1"})
    assert hub.listeners == 0
