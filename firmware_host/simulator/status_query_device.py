"""A controller of the dialect `status-query` in software: its receive buffer, its single bytes, its event loop."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator, MutableMapping, Sequence

from firmware_host.simulator.device import MotionInterval, SimulatedDevice
from firmware_host.simulator.status_query_board import Board
from firmware_host.simulator.status_query_lines import Wait, serve_line
from firmware_host.simulator.status_query_member import StatusQueryMember
from firmware_host.simulator.status_query_reports import StatusReports

RESET_BYTE = 0x18
JOG_CANCEL_BYTE = 0x85
FIRST_HIGH_BYTE = 0x80
LINE_ENDS = (0x0A, 0x0D)
LONGEST_KEPT = 256


class StatusQueryDevice(SimulatedDevice):
    """One simulated board. It powers up at `start_s` and greets.

    `settings` gives the stored values with all their digits, for reading and for changing behind the board's back;
    `output_log` holds (s, word) of every output word carried out; `bytes_lost` counts bytes that found the buffer
    full, the EEPROM being written or the board booting.
    """

    def __init__(self, member: StatusQueryMember, start_s: float = 0.0) -> None:
        self.member = member
        self.bytes_lost = 0
        self._board = Board(member, start_s)
        self._reports = StatusReports(self._board)
        self._received: deque[int] = deque()
        self._line = bytearray()
        self._after_return = False
        self._task: Iterator[Wait] | None = None
        self._wait: Wait = start_s
        self._board.hardware_reset()

    # --- the line -------------------------------------------------------------------------------------------

    def receive(self, data: bytes, now_s: float) -> None:
        """Take bytes at `now_s`, one after the other: the board can act between two of them, but no time passes."""
        self._advance(now_s)
        for byte in data:
            if now_s < self._board.write_until_s or now_s < self._board.boot_until_s:
                self.bytes_lost += 1
            elif not self._act_on(byte):
                self._store(byte)
                self._work()

    def transmit(self, now_s: float) -> bytes:
        self._advance(now_s)
        return self._board.said()

    def next_event_s(self) -> float | None:
        board = self._board
        instants = [self._next_change_s(), board.next_said_s()]
        if not board.kernel.moving():
            instants += [t for t in (board.idle_shown_s(), board.released_after_s) if board.now_s < t < math.inf]
        pending = [instant for instant in instants if instant is not None]
        return min(pending) if pending else None

    # --- what goes on outside the line ----------------------------------------------------------------------

    def hardware_reset(self, now_s: float) -> None:
        self._advance(now_s)
        self._forget_input()
        self._board.hardware_reset()

    def client_opened(self, now_s: float) -> bool:
        if self.member.resets_on_open:
            self.hardware_reset(now_s)
        return self.member.resets_on_open

    def trip_limit_switch(self, now_s: float) -> None:
        """Close a limit switch: with hard limits on (`$21`) all stops at once, and the position is lost."""
        self._advance(now_s)
        if self._board.settings["$21"]:
            self._forget_input()
            self._board.cut_motion()
            self._board.synchronise()
            self._board.alarm(1)

    # --- the truth ------------------------------------------------------------------------------------------

    def steps_at(self, axis: str, now_s: float) -> int:
        self._advance(now_s)
        return self._board.kernel.shafts_at(now_s)[self.member.axes.index(axis)]

    def counter_at(self, axis: str, now_s: float) -> int:
        """The step counter as the board itself keeps it: 0 after a hardware reset, blind to lost steps."""
        self._advance(now_s)
        return self._board.kernel.counters_at(now_s)[self.member.axes.index(axis)]

    def moving_at(self, now_s: float) -> bool:
        self._advance(now_s)
        return self._board.kernel.moving()

    def released_at(self, now_s: float) -> bool:
        self._advance(now_s)
        return self._board.released()

    @property
    def motion_log(self) -> Sequence[MotionInterval]:
        return tuple(self._board.kernel.log)

    @property
    def output_log(self) -> Sequence[tuple[float, str]]:
        return tuple(self._board.outputs)

    @property
    def settings(self) -> MutableMapping[str, float]:
        return self._board.settings

    # --- single bytes ---------------------------------------------------------------------------------------

    def _act_on(self, byte: int) -> bool:
        """Act at once on a byte that stands for itself; False if it belongs to a line."""
        board = self._board
        if byte == ord("?"):
            free = self.member.receive_buffer - len(self._received)
            board.say(self._reports.line(free), self.member.status_delay_s)
            return True
        elif byte == ord("!"):
            self._hold()
        elif byte == ord("~"):
            if board.kernel.resume(board.now_s):
                board.paused = False
        elif byte == RESET_BYTE:
            self._forget_input()
            board.soft_reset()
        elif byte == JOG_CANCEL_BYTE:
            if board.state_word() == "Jog":
                self._hold()
        elif byte < FIRST_HIGH_BYTE:
            return False
        self._work()
        return True

    def _hold(self) -> None:
        if self._board.state_word() in ("Idle", "Run", "Jog"):
            self._board.kernel.hold(self._board.now_s)
            self._board.drop_held_jog()

    def _forget_input(self) -> None:
        self._received.clear()
        self._line.clear()
        self._task = None

    def _store(self, byte: int) -> None:
        if len(self._received) < self.member.receive_buffer - 1:
            self._received.append(byte)
        else:
            self.bytes_lost += 1

    # --- time -----------------------------------------------------------------------------------------------

    def _next_change_s(self) -> float | None:
        moving_s = self._board.kernel.next_event_s()
        waking_s = None if self._task is None or callable(self._wait) else self._wait
        pending = [instant for instant in (moving_s, waking_s) if instant is not None]
        return min(pending) if pending else None

    def _advance(self, now_s: float) -> None:
        """Live through everything that happens up to `now_s`, in the order in which it happens."""
        board = self._board
        if now_s < board.now_s:
            raise ValueError(f"time runs backwards: {now_s!r} s after {board.now_s!r} s")
        while (instant := self._next_change_s()) is not None and instant <= now_s:
            board.now_s = max(board.now_s, instant)
            if board.kernel.crash_s is not None and board.kernel.crash_s <= board.now_s:
                self._forget_input()
                board.hardware_reset()
            self._move_on()
            self._work()
        board.now_s = now_s

    def _move_on(self) -> None:
        board = self._board
        was_moving = board.kernel.moving()
        board.kernel.advance(board.now_s)
        if was_moving and not board.kernel.moving():
            board.note_rest(board.kernel.last_end_s)
            board.drop_held_jog()

    def _work(self) -> None:
        """Let the main loop run as far as it gets at this instant: go on with a line, or read the next one."""
        while True:
            if self._task is None:
                if not self._read_line():
                    return
            elif not self._due():
                return
            if self._task is not None:
                step = next(self._task, None)
                if step is None:
                    self._task = None
                else:
                    self._wait = step

    def _due(self) -> bool:
        return self._wait() if callable(self._wait) else self._board.now_s >= self._wait

    def _read_line(self) -> bool:
        """Move bytes from the receive buffer to the line; True once a line is complete and its task begun.

        A line feed right after a carriage return ends no second line.
        """
        while self._received:
            byte = self._received.popleft()
            second = self._after_return and byte == LINE_ENDS[0]
            self._after_return = byte == LINE_ENDS[1]
            if second:
                continue
            if byte in LINE_ENDS:
                text = self._line.decode("ascii", errors="replace")
                self._line.clear()
                self._task = serve_line(self._board, text)
                return True
            if len(self._line) < LONGEST_KEPT:
                self._line.append(byte)
        return False
