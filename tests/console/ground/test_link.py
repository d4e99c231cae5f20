"""The console's link to a real broker: what is said there is seen, what is asked is answered, an outage heals."""

import asyncio
import threading
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager, contextmanager
from datetime import timedelta
from pathlib import Path
from random import Random

import pytest

from schemas.contract import decode, topic_for
from schemas.plant_file import load
from schemas.requests import Accepted, LockOut
from schemas.telemetry import Quality, TemperatureReading
from schemas.topics import TopicKind, every, topic
from services.commands.running import barn_file
from services.console.link import BrokerBus, Ground, NoAnswer
from services.console.live import Change, Live
from services.runtime.address import BrokerAddress
from services.runtime.broker import EmbeddedBroker, prepare_broker
from services.runtime.bus import BrokerLink
from services.runtime.clock import Clock, SystemClock, machine_seconds
from services.runtime.family import Member
from services.runtime.service import Outgoing
from tests.waiting import PATIENCE_S, wait_until

NOW = SystemClock().now()
PLANT = load(barn_file())


@contextmanager
def running(broker: EmbeddedBroker) -> Iterator[None]:
    member = Member("broker", broker.command, broker.user)
    member.start()
    try:
        wait_until(broker.answers, "the broker to answer")
        yield
    finally:
        member.stop()


@contextmanager
def neighbour(address: BrokerAddress) -> Iterator[BrokerLink]:
    """Another service's link, turned on a thread: it answers every lock-out."""
    link, over = BrokerLink(address, "neighbour", Random(1)), threading.Event()
    link.listen((every("barn", TopicKind.REQUEST),))

    def turn() -> None:
        while not over.is_set():
            link.turn(0.02)
            for delivery in link.take(100):
                link.acknowledge(delivery.ticket)
                request = decode(delivery.topic, delivery.body)  # type: ignore[arg-type]
                answer = Accepted(at=NOW, source="supervisor", id=request.id, detail="Off.")  # type: ignore[attr-defined]
                link.publish(Outgoing(topic("barn", TopicKind.REPLY, "console", answer.id), answer))

    thread = threading.Thread(target=turn)
    thread.start()
    try:
        wait_until(lambda: link.listening, "the neighbour listens")
        yield link
    finally:
        over.set()
        thread.join()
        link.close()


@asynccontextmanager
async def console(
    broker: EmbeddedBroker, folder: Path, plant_path: Path, clock: Clock | None = None
) -> AsyncIterator[BrokerBus]:
    address, clock = BrokerAddress(port=broker.port), clock or SystemClock()
    ground = Ground(broker=address, plant_path=plant_path, state_folder=folder, version="1", clock=clock)
    bus = BrokerBus(Live(load(plant_path)), ground)
    bus.start()
    try:
        yield bus
    finally:
        await bus.stop()


async def until(bus: BrokerBus, condition: Callable[[], bool]) -> None:
    """Waits for a change after which the condition holds."""
    changed = asyncio.Event()
    remove = bus.on_change(lambda _: changed.set())
    deadline_s = machine_seconds() + PATIENCE_S
    while not condition() and machine_seconds() < deadline_s:
        changed.clear()
        await asyncio.wait({asyncio.create_task(changed.wait())}, timeout=0.2)
    remove()
    assert condition()


def reading(value: float) -> Outgoing:
    body = TemperatureReading(
        at=SystemClock().now(), source="bridge", chamber="bath", probe="bath", quality=Quality.GOOD, temperature_c=value
    )
    return Outgoing(topic_for("barn", body), body, retain=True)


def lock_out(number: int) -> LockOut:
    return LockOut(at=NOW, source="console", id=f"r-{number}", client="console", who="ann", chamber="bath")


@pytest.fixture
def broker(tmp_path: Path) -> EmbeddedBroker:
    return prepare_broker(tmp_path, preferred_port=0)


def test_what_is_said_is_seen_and_told(broker: EmbeddedBroker, tmp_path: Path) -> None:
    async def scene(link: BrokerLink) -> list[Change]:
        seen: list[Change] = []
        async with console(broker, tmp_path, barn_file()) as bus:
            bus.on_change(seen.append)
            link.publish(reading(4.5))
            await until(bus, lambda: ("bath", "bath") in bus.live.readings)
            assert bus.live.readings["bath", "bath"].value == 4.5
        return seen

    with running(broker), neighbour(BrokerAddress(port=broker.port)) as link:
        seen = asyncio.run(scene(link))
    assert Change("readings", ("bath", "bath")) in seen
    assert Change("link") in seen


class Stumbling(SystemClock):
    """Fails once, in a way that nobody foresaw."""

    stumbled = False

    def step(self) -> timedelta:
        if not self.stumbled:
            self.stumbled = True
            raise RuntimeError("nobody foresaw this")
        return super().step()


def test_a_link_that_fails_begins_anew(broker: EmbeddedBroker, tmp_path: Path) -> None:
    clock = Stumbling()

    async def scene(link: BrokerLink) -> None:
        async with console(broker, tmp_path, barn_file(), clock) as bus:
            await until(bus, lambda: clock.stumbled)
            link.publish(reading(4.5))
            await until(bus, lambda: ("bath", "bath") in bus.live.readings)

    with running(broker), neighbour(BrokerAddress(port=broker.port)) as link:
        asyncio.run(scene(link))


def test_a_request_comes_back_with_its_answer(broker: EmbeddedBroker, tmp_path: Path) -> None:
    async def scene() -> list[object]:
        async with console(broker, tmp_path, barn_file()) as bus:
            await until(bus, lambda: bus.connected)
            return list(await asyncio.gather(*(bus.ask(lock_out(number), PATIENCE_S) for number in range(5))))

    with running(broker), neighbour(BrokerAddress(port=broker.port)):
        answers = asyncio.run(scene())
    assert [answer.id for answer in answers if isinstance(answer, Accepted)] == [f"r-{number}" for number in range(5)]


def test_when_nobody_answers_it_says_who_was_asked(broker: EmbeddedBroker, tmp_path: Path) -> None:
    async def scene() -> object:
        async with console(broker, tmp_path, barn_file()) as bus:
            await until(bus, lambda: bus.connected)
            return await bus.ask(lock_out(1), wait_s=0.2)

    with running(broker):
        answer = asyncio.run(scene())
    assert isinstance(answer, NoAnswer)
    assert "supervisor" in answer.reason


def test_an_outage_is_told_what_was_heard_stays_and_all_heals(broker: EmbeddedBroker, tmp_path: Path) -> None:
    async def scene() -> None:
        async with console(broker, tmp_path, barn_file()) as bus:
            assert bus.since is not None
            with running(broker), neighbour(BrokerAddress(port=broker.port)) as link:
                link.publish(reading(4.5))
                await until(bus, lambda: bus.since is None and bool(bus.live.readings))
                link.close()
            await until(bus, lambda: not bus.connected)
            assert bus.since is not None
            assert bus.live.readings["bath", "bath"].value == 4.5
            assert isinstance(await bus.ask(lock_out(1)), NoAnswer)
            with running(broker), neighbour(BrokerAddress(port=broker.port)):
                await until(bus, lambda: bus.connected)
                assert isinstance(await bus.ask(lock_out(2), PATIENCE_S), Accepted)

    asyncio.run(scene())


def test_a_changed_plant_file_is_followed_and_a_broken_one_is_told(broker: EmbeddedBroker, tmp_path: Path) -> None:
    path, written = tmp_path / "plant.yaml", barn_file().read_text()
    path.write_text(written)

    async def scene() -> None:
        async with console(broker, tmp_path, path) as bus:
            await until(bus, lambda: bus.connected)
            path.write_text(written.replace("Ale fridge", "The old fridge"))
            await until(bus, lambda: bus.live.plant.chambers["ale-fridge"].title == "The old fridge")
            path.write_text(written.replace("kind: fridge", "kind: cellar"))
            await until(bus, lambda: "cellar" in bus.live.plant_trouble)
            assert bus.live.plant.chambers["ale-fridge"].title == "The old fridge"

    with running(broker):
        asyncio.run(scene())


def test_a_listener_that_fails_disturbs_nobody_else(broker: EmbeddedBroker, tmp_path: Path) -> None:
    async def scene() -> list[Change]:
        seen: list[Change] = []
        async with console(broker, tmp_path, barn_file()) as bus:
            bus.on_change(lambda change: seen[len(seen) + 1])  # type: ignore[arg-type, return-value]
            bus.on_change(seen.append)
            await until(bus, lambda: bus.connected)
        return seen

    with running(broker):
        assert Change("link") in asyncio.run(scene())
