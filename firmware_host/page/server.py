"""Serves the page on this computer alone, in a thread with a loop of its own. Nothing here can delay the run."""

from __future__ import annotations

import asyncio
import json
import secrets
import threading
from collections.abc import AsyncIterator
from importlib import resources
from typing import Any, Final

import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from firmware_host.clock import SystemClock
from firmware_host.errors import InputError
from firmware_host.page.buttons import BUTTONS, press
from firmware_host.page.desk import Desk
from firmware_host.page.guard import FILES, ON_EVERY_ANSWER, PRESS, STATE, Guard
from firmware_host.page.view import view_line
from firmware_host.system.sockets import HOST, listen

MOST_PAGES: Final = 16
"""Pages at once; who comes then is told so."""
_EVERY_S: Final = 0.15
"""So often each page is told (s)."""
_LISTENS_S: Final = 0.05
_LONGEST_PRESS: Final = 4096
_LAST_WORDS_S: Final = 1
"""So long the end waits at the most for pages to take the last words (whole s)."""


class PageServer:
    """Serves the page of a desk until `close`. `port`: where, 0 for any that is free.

    Raises `InputError` where the port is taken.
    """

    def __init__(self, desk: Desk, port: int = 0, token: str = "") -> None:
        self._desk, self._clock = desk, SystemClock()
        try:
            self._listener = listen(port, callers=2 * MOST_PAGES)
        except OSError as error:
            problem = f"the station page cannot be served at {HOST}:{port} ({error.strerror or error})"
            raise InputError(problem, "Name a port that is free, or 0 for any", key="--page-port") from error
        self.port: int = self._listener.getsockname()[1]
        self.token = token or secrets.token_urlsafe(24)
        self._pages = 0
        self._server = uvicorn.Server(
            uvicorn.Config(
                _Guarded(self._app(), Guard(self.port, self.token)),
                loop="asyncio",
                http="h11",
                ws="none",
                lifespan="off",
                interface="asgi3",
                log_config=None,
                log_level="critical",
                access_log=False,
                proxy_headers=False,
                server_header=False,
                timeout_graceful_shutdown=_LAST_WORDS_S,
            )
        )
        self._thread = threading.Thread(target=self._work, name="station page", daemon=True)
        self._thread.start()

    @property
    def url(self) -> str:
        """The address to open. What is behind the # is the token: no browser sends it anywhere."""
        return f"http://{HOST}:{self.port}/#{self.token}"

    def close(self) -> None:
        """Tell the pages the last, and end; a second call does nothing."""
        self._server.should_exit = True
        self._thread.join(3 * _LAST_WORDS_S)

    # --- the thread ------------------------------------------------------------------------------------------------

    def _work(self) -> None:
        asyncio.run(self._serve())

    async def _serve(self) -> None:
        listening = asyncio.create_task(self._listen_to_run())
        try:
            await self._server.serve(sockets=[self._listener])
        finally:
            listening.cancel()

    async def _listen_to_run(self) -> None:
        while True:
            self._desk.listen()
            await asyncio.sleep(_LISTENS_S)

    def _app(self) -> Starlette:
        files = [Route(path, _file(name, kind)) for path, (name, kind) in FILES.items()]
        return Starlette(routes=[*files, Route(STATE, self._state), Route(PRESS, self._press, methods=["POST"])])

    async def _state(self, request: Request) -> Response:
        if self._pages >= MOST_PAGES:
            return JSONResponse({"refused": f"more than {MOST_PAGES} pages are open"}, 503)
        return StreamingResponse(self._states(), media_type="text/event-stream")

    async def _states(self) -> AsyncIterator[str]:
        """What the page shows, again and again: whatever a slow browser has missed, it gets the newest next."""
        self._pages += 1
        try:
            seen = 0
            while True:
                last = self._desk.over is not None or self._server.should_exit
                line, seen = view_line(self._desk, seen=seen, at_s=self._clock.monotonic())
                yield f"data: {line}\n\n"
                if last:
                    return
                await asyncio.sleep(_EVERY_S)
        finally:
            self._pages -= 1

    async def _press(self, request: Request) -> Response:
        body = b""
        async for piece in request.stream():
            body += piece
            if len(body) > _LONGEST_PRESS:
                return JSONResponse({"refused": "that is too long"}, 413)
        pressed = _pressed(body)
        if pressed is None:
            return JSONResponse({"refused": "that is no press of a button"}, 400)
        refused = press(pressed["button"], self._desk, number=pressed["number"], line=pressed["line"])
        return JSONResponse({"refused": refused}, 409 if refused else 200)


def _pressed(body: bytes) -> dict[str, Any] | None:
    """What was pressed: {"button", "number", "line"}, the last two where the button needs them; None for all else."""
    try:
        said = json.loads(body)
    except (ValueError, RecursionError):
        return None
    if not isinstance(said, dict) or not said.keys() <= {"button", "number", "line"}:
        return None
    button, number, line = said.get("button"), said.get("number", 0), said.get("line", "")
    right = button in BUTTONS and type(number) is int and isinstance(line, str)
    return {"button": button, "number": number, "line": line} if right else None


def _file(name: str, kind: str) -> Any:
    content = resources.files("firmware_host.page").joinpath("files", name).read_bytes()

    async def answer(request: Request) -> Response:
        return Response(content, media_type=kind)

    return answer


class _Guarded:
    """Asks the guard before anything else, and puts on every answer what keeps others away from it."""

    def __init__(self, app: ASGIApp, guard: Guard) -> None:
        self._app, self._guard = app, guard

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return

        async def answer(message: Message) -> None:
            if message["type"] == "http.response.start":
                added = [(name.encode(), value.encode()) for name, value in ON_EVERY_ANSWER]
                message = {**message, "headers": [*message.get("headers", ()), *added]}
            await send(message)

        refusal = self._guard.refusal(scope["method"], scope["path"], scope["headers"])
        if refusal is None:
            await self._app(scope, receive, answer)
        else:
            await JSONResponse({"refused": refusal.why}, refusal.status)(scope, receive, answer)
