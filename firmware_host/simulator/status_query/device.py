"""A controller of the dialect `status-query` in software: its receive buffer, its single bytes, its event loop."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, MutableMapping, Sequence

from firmware_host.simulator.event_device import EventDevice
from firmware_host.simulator.status_query.board import Board
from firmware_host.simulator.status_query.lines import serve_line
from firmware_host.simulator.status_query.reports import StatusReports
from firmware_host.simulator.status_query.variant import StatusQueryVariant

RESET_BYTE = 0x18
JOG_CANCEL_BYTE = 0x85
FIRST_HIGH_BYTE = 0x80
REPORT_BYTES = (0x80, 0x87)
LINE_ENDS = (0x0A, 0x0D)
LONGEST_KEPT = 1024


class StatusQueryDevice(EventDevice):
    """One simulated board. It powers up at `start_s` and greets.

    `settings` gives the stored values with all their digits, for reading and for changing behind the board's back;
    `output_log` holds (s, word) of every output word carried out; `bytes_lost` counts bytes that found the buffer
    full, the EEPROM being written or the board booting.
    """

    def __init__(self, variant: StatusQueryVariant, start_s: float = 0.0) -> None:
        self._board = Board(variant, start_s)
        super().__init__(self._board, variant.axes)
        self.variant = variant
        self.bytes_lost = 0
        self._reports = StatusReports(self._board)
        self._received: deque[int] = deque()
        self._line = bytearray()
        self._after_return = False
        self._asked_in_reset = False
        self._board.hardware_reset()

    # --- the line -------------------------------------------------------------------------------------------

    def receive(self, data: bytes, now_s: float) -> None:
        """Take bytes at `now_s`, one after the other: the board can act between two of them, but no time passes."""
        self._advance(now_s)
        for byte in data:
            board = self._board
            if board.hung or now_s < max(board.write_until_s, board.boot_until_s):
                self.bytes_lost += 1
            elif now_s < board.resetting_until_s:
                self._asked_in_reset = self._asked_in_reset or byte == ord("?")
                self.bytes_lost += byte != ord("?")
            elif not self._act_on(byte):
                self._store(byte)
                self._work()

    # --- what happens outside the line -----------------------------------------------------------------------

    def hardware_reset(self, now_s: float) -> None:
        self._advance(now_s)
        self._forget_input()
        self._board.hardware_reset()

    def client_opened(self, now_s: float) -> bool:
        if self.variant.resets_on_open:
            self.hardware_reset(now_s)
        return self.variant.resets_on_open

    # --- the truth ------------------------------------------------------------------------------------------

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
        if byte == ord("?") or (self.variant.ways.full_report and byte in REPORT_BYTES):
            self._report(whole=byte == REPORT_BYTES[1])
            return True
        elif byte == ord("!"):
            self._hold()
        elif byte == ord("~"):
            board.resume()
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

    def _report(self, *, whole: bool = False) -> None:
        """Answer a question for the status, unless the board hears none in the state that it is in."""
        board = self._board
        if board.stuck_at_limit and self.variant.ways.limit_alarm == "deaf":
            return
        free = self.variant.receive_buffer - len(self._received)
        line = self._reports.whole(free) if whole else self._reports.line(free)
        board.say(line, self.variant.status_delay_s)

    def _hold(self) -> None:
        state = self._board.state_word()
        if state in ("Idle", "Run", "Jog"):
            self._board.hold()
        if state == "Jog":
            self._board.drop_paused_jog()

    def _forget_input(self) -> None:
        self._received.clear()
        self._line.clear()
        self._task = None

    def _store(self, byte: int) -> None:
        if len(self._received) < self.variant.receive_buffer - 1:
            self._received.append(byte)
        else:
            self.bytes_lost += 1

    # --- the event loop -------------------------------------------------------------------------------------

    def _later_changes(self) -> Iterable[float]:
        return (self._board.idle_shown_s(), self._board.released_after_s)

    def _own_changes(self) -> Iterable[float | None]:
        return (self._board.resetting_until_s if self._asked_in_reset else None,)

    def _live(self) -> None:
        if self._asked_in_reset and self._board.now_s >= self._board.resetting_until_s:
            self._asked_in_reset = False
            self._report()

    def _crash(self) -> None:
        self._forget_input()
        if self.variant.hangs:
            self._board.cut_motion()
            self._board.hung = True
        else:
            self._board.hardware_reset()

    def _came_to_standstill(self) -> None:
        self._board.note_standstill(self._board.kernel.last_end_s)
        self._board.drop_paused_jog()

    def _begin_task(self) -> bool:
        """Move bytes from the receive buffer to the line, until one is complete.

        A line feed right after a carriage return ends no second line.
        """
        if self.variant.ways.lines_wait_in_hold and self._board.kernel.holding != "no":
            return False
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
