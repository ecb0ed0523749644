"""The run's side of the page: its state, its progress and its operator leave their notes at the desk."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from firmware_host.errors import GateError
from firmware_host.page.desk import Desk
from firmware_host.page.surface import Passes
from firmware_host.planning.plan import JobPlan
from firmware_host.station.operator import Operator, Question
from firmware_host.station.progress import PassingOn, Progress
from firmware_host.station.state.message import StateMessage
from firmware_host.station.state.outlet import Outlet


class PageOutlet(Outlet):
    """The page asks for the newest state itself, many times a second; whoever opened it tells it the end."""

    def __init__(self, desk: Desk, name: str) -> None:
        self._desk, self.name = desk, name

    def attach(self, newest: Callable[[], StateMessage]) -> None:
        self._desk.attach(newest)

    def put(self, line: str) -> None:
        pass

    def close(self) -> None:
        pass


class PageProgress(PassingOn):
    """Notes what the page shows besides the state, and passes everything on to `inner`."""

    def __init__(self, inner: Progress, desk: Desk) -> None:
        super().__init__(inner)
        self._desk = desk

    def stage(self, text: str) -> None:
        self._desk.stage = text
        super().stage(text)

    def note(self, text: str) -> None:
        self._desk.tell(text)
        super().note(text)

    def begins(self, plan: JobPlan, segments: Mapping[int, Passes]) -> None:
        self._desk.begins(plan, segments)
        super().begins(plan, segments)

    def marked(self, segment: int, done: int, of: int) -> None:
        if self._desk.surface is not None:
            self._desk.surface.mark(segment, done, of)
        super().marked(segment, done, of)


class PageOperator(Operator):
    """The person at the page, beside `inner`: whoever answers first has answered."""

    def __init__(self, inner: Operator, desk: Desk) -> None:
        self._inner, self._desk = inner, desk

    @property
    def elsewhere(self) -> bool:
        return True

    @property
    def by_key(self) -> bool:
        return self._inner.by_key

    def tell(self, text: str) -> None:
        self._desk.tell(text)
        self._inner.tell(text)

    def asks(self, question: Question | None) -> None:
        self._desk.asks(question)
        self._inner.asks(question)

    def answer(self) -> str | None:
        pressed = self._desk.take_answer()
        if pressed is not None:
            return pressed
        try:
            return self._inner.answer()
        except GateError:  # nobody is at the terminal; somebody may be at the page
            return None

    def forget(self) -> None:
        self._desk.forget()
        self._inner.forget()
