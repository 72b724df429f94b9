"""A bad line between phones and the server: it loses, delays, doubles and cuts requests and answers, by a seed."""

import asyncio
import random
import re
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager

# Chances in a hundred; all else goes through as it should.
FAULTS = {
    "request lost": 5,
    "request late": 5,
    "request doubled": 7,
    "request cut": 7,
    "answer lost": 7,
    "answer late": 4,
    "answer cut": 5,
}
LATEST = 4.0  # seconds; longer than a phone waits
END_OF_HEAD = b"\r\n\r\n"


class BadLine:
    """Carries one request a connection to `server`, a port on this computer. `faults` counts what it did to them."""

    def __init__(self, server: int, seed: int) -> None:
        self.server = server
        self.dice = random.Random(seed)
        self.faults: Counter[str] = Counter()

    async def carry(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            writer.write(await self._through(await _request(reader)))
            await writer.drain()
        except (OSError, EOFError):
            pass  # the server or the phone is gone: the other end sees a line that broke
        finally:
            writer.close()

    async def _through(self, request: bytes) -> bytes:
        """What comes back for a request; nothing when the line breaks."""
        fault = self._fault()
        if fault == "request lost":
            return b""
        if fault == "request cut":
            await self._ask(request[: self.dice.randrange(len(request))], cut=True)
            return b""
        if fault == "request late":
            await asyncio.sleep(self.dice.uniform(0, LATEST))
        if fault == "request doubled":
            return self.dice.choice(await asyncio.gather(self._ask(request), self._ask(request)))
        return await self._back(await self._ask(request), fault)

    async def _back(self, answer: bytes, fault: str) -> bytes:
        if fault == "answer late":
            await asyncio.sleep(self.dice.uniform(0, LATEST))
        if fault == "answer cut":
            return answer[: self.dice.randrange(len(answer) or 1)]
        return b"" if fault == "answer lost" else answer

    def _fault(self) -> str:
        (fault,) = self.dice.choices(["", *FAULTS], [100 - sum(FAULTS.values()), *FAULTS.values()])
        self.faults.update([fault] if fault else [])
        return fault

    async def _ask(self, request: bytes, cut: bool = False) -> bytes:
        reader, writer = await asyncio.open_connection("127.0.0.1", self.server)
        try:
            writer.write(request)
            await writer.drain()
            return b"" if cut else await reader.read()
        finally:
            writer.close()


async def _request(reader: asyncio.StreamReader) -> bytes:
    head = await reader.readuntil(END_OF_HEAD)
    length = re.search(rb"(?i)content-length: *(\d+)", head)
    return head + await reader.readexactly(int(length[1]) if length else 0)


@contextmanager
def bad_line(server: int, seed: int) -> Iterator[tuple[BadLine, int]]:
    """A bad line that runs in a thread of its own, and the port that phones reach it at."""
    line, loop = BadLine(server, seed), asyncio.new_event_loop()
    listener = loop.run_until_complete(asyncio.start_server(line.carry, "127.0.0.1", 0))
    thread = threading.Thread(target=loop.run_forever)
    thread.start()
    try:
        yield line, listener.sockets[0].getsockname()[1]
    finally:
        loop.call_soon_threadsafe(loop.stop)
        thread.join()
