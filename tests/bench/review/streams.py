"""Many bare viewers of the board's stream, in one thread: when each picture reached each of them."""

from __future__ import annotations

import asyncio
import contextlib
import json
import threading
import time
from typing import Any


class Streams:
    """`count` viewers of `url`/board/events, from entering to leaving."""

    def __init__(self, url: str, cookies: list[dict[str, str]], count: int) -> None:
        self.url, self.count = url, count
        self.cookies = {c["name"]: c["value"] for c in cookies}
        self._seen: list[dict[int, float]] = [{} for _ in range(count)]
        self._open = 0
        self._loop: asyncio.AbstractEventLoop | None = None
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> Streams:
        self._thread.start()
        deadline = time.monotonic() + 60
        while self._open < self.count and time.monotonic() < deadline:
            time.sleep(0.05)
        return self

    def __exit__(self, *_: object) -> None:
        if self._loop is not None:
            self._loop.call_soon_threadsafe(self._stop.set)
        self._thread.join(15)

    def seen(self) -> list[dict[int, float]]:
        """Per viewer: number of lines in the picture -> wall time in ms when it came first."""
        return [dict(one) for one in self._seen]

    def _run(self) -> None:
        asyncio.run(self._main())

    async def _main(self) -> None:
        import httpx

        self._loop, self._stop = asyncio.get_running_loop(), asyncio.Event()
        limits = httpx.Limits(max_connections=self.count + 5)
        async with httpx.AsyncClient(
            base_url=self.url, cookies=self.cookies, timeout=None, limits=limits
        ) as client:
            tasks = [asyncio.create_task(self._view(client, one)) for one in self._seen]
            await self._stop.wait()
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)

    async def _view(self, client: Any, seen: dict[int, float]) -> None:
        with contextlib.suppress(asyncio.CancelledError):
            async with client.stream("GET", "/board/events") as answer:
                self._open += 1
                async for line in answer.aiter_lines():
                    if line.startswith("data: "):
                        now = time.time() * 1000
                        picture = json.loads(line[6:])
                        seen.setdefault(sum(s["lines"] for s in picture["sessions"]), now)
