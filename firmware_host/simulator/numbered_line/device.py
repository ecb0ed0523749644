"""A controller of the dialect `numbered-line` in software: its buffers, its answers, its event loop."""

from __future__ import annotations

import math
import re
from collections import deque
from collections.abc import Iterable, Iterator, Mapping, MutableMapping, Sequence

from firmware_host.simulator.board_core import Wait
from firmware_host.simulator.event_device import EventDevice
from firmware_host.simulator.numbered_line.board import NumberedBoard
from firmware_host.simulator.numbered_line.commands import Task
from firmware_host.simulator.numbered_line.echoing import EchoingSpeech
from firmware_host.simulator.numbered_line.numbering import LineAnswer, NumberedCommand
from firmware_host.simulator.numbered_line.remarking import RemarkingSpeech
from firmware_host.simulator.numbered_line.speech import HALT_WORDS, Speech
from firmware_host.simulator.numbered_line.variant import NumberedLineVariant

LINE_ENDS = b"\n\r"
LONGEST_KEPT = 256
_PIECES = re.compile(rb"[^\n\r]+|[\n\r]")
WAIT_EVERY_S = 1.0
MOST_REPEATS = 3
SPEECHES: Mapping[str, type[Speech]] = {"plain": Speech, "echoing": EchoingSpeech, "remarking": RemarkingSpeech}
AT_ONCE = re.compile(rb"(?:\s*N-?\d+)?\s*(M112|M410)(?!\d)")


class NumberedLineDevice(EventDevice):
    """One simulated board. It powers up at `start_s` and greets; its motors are released until they are energised.

    `settings` gives the values in force with all their digits (`"M92 A"`), for reading and for changing behind the
    board's back; `output_log` holds (s, pin, value) of every output word carried out, `heater_writes` (s, words) of
    every M204 that reached a heater; `bytes_lost` counts bytes that found the buffer full, the board booting or halted.
    """

    def __init__(self, variant: NumberedLineVariant, start_s: float = 0.0) -> None:
        self._board = NumberedBoard(variant, start_s)
        super().__init__(self._board, variant.axes)
        self._speech = SPEECHES[variant.speech](self._board)
        self._board.greeting, self._board.last_words = self._speech.greeting, self._speech.last_words
        self.variant = variant
        self.bytes_lost = 0
        self._received: deque[int] = deque()
        self._line = bytearray()
        self._watched = bytearray()
        self._current: Task | None = None
        self._quiet_since_s = self._last_byte_s = start_s
        self._busy_due_s = math.inf
        self._again_due_s = math.inf
        self._repeats_left = 0.0
        self._restart()

    # --- the line -------------------------------------------------------------------------------------------

    def receive(self, data: bytes, now_s: float) -> None:
        """Take bytes at `now_s`, one after the other: the board can act between two of them, but no time passes."""
        self._advance(now_s)
        for piece in _PIECES.findall(data):
            if not self._taken_whole(piece, now_s):
                self._receive_bytes(piece, now_s)

    def _taken_whole(self, piece: bytes, now_s: float) -> bool:
        """Whether `piece`, which ends no line, went to the line as it stands: then nothing acts between its bytes."""
        dropped = self._board.halted or now_s < self._board.boot_until_s
        if dropped or self._received or piece in LINE_ENDS or not self._takes_more():
            return False
        self._last_byte_s = self._quiet_since_s = now_s
        for kept in (self._watched, self._line):
            kept += piece[: LONGEST_KEPT - len(kept)]
        return True

    def _receive_bytes(self, piece: bytes, now_s: float) -> None:
        for byte in piece:
            if self._board.halted or now_s < self._board.boot_until_s:
                self.bytes_lost += 1
                self._answer_halted(byte)
                continue
            self._last_byte_s = self._quiet_since_s = now_s
            if len(self._received) < self.variant.receive_buffer - 1:
                self._received.append(byte)
            else:
                self.bytes_lost += 1
            self._act_on(byte)
            self._work()

    def _answer_halted(self, byte: int) -> None:
        if self._board.halted and self.variant.halt_style == "bangs" and byte in LINE_ENDS[:1]:
            self._board.say(HALT_WORDS["bangs"])

    def _act_on(self, byte: int) -> None:
        """Act at once on a line that is not to wait for its turn, checked or not."""
        if byte not in LINE_ENDS:
            if len(self._watched) < LONGEST_KEPT:
                self._watched.append(byte)
            return
        match = AT_ONCE.match(bytes(self._watched))
        self._watched.clear()
        if match is None or not self.variant.acts_at_once or match.group(1).decode() in self.variant.unknown_words:
            return
        if match.group(1) == b"M112":
            self._board.halt()
            self._forget_dropped()
        else:
            self._board.cut_motion()

    # --- what happens outside the line -----------------------------------------------------------------------

    def hardware_reset(self, now_s: float) -> None:
        self._advance(now_s)
        self._restart()

    def client_opened(self, now_s: float) -> bool:
        self._advance(now_s)
        if self.variant.resets_on_open:
            self._restart()
        else:
            self._board.boot_until_s = now_s + self.variant.boot_loss_s
        return self.variant.resets_on_open

    def _restart(self) -> None:
        self._board.restart()
        self._forget_dropped()

    def _crash(self) -> None:
        self._restart()

    def _forget_dropped(self) -> None:
        self._board.input_dropped = False
        self._received.clear()
        self._line.clear()
        self._watched.clear()
        self._task = self._current = None
        self._busy_due_s = self._again_due_s = math.inf
        self._quiet_since_s = self._board.now_s

    # --- the truth ------------------------------------------------------------------------------------------

    @property
    def output_log(self) -> Sequence[tuple[float, int, int]]:
        return tuple(self._board.outputs)

    @property
    def heater_writes(self) -> Sequence[tuple[float, Mapping[str, str]]]:
        return tuple(self._board.heater_writes)

    @property
    def settings(self) -> MutableMapping[str, float]:
        return self._board.settings

    @property
    def halted(self) -> bool:
        """Whether the board waits for a reset."""
        return self._board.halted

    # --- the event loop -------------------------------------------------------------------------------------

    def _came_to_standstill(self) -> None:
        self._board.note_standstill(self._board.kernel.last_end_s)

    def _begin_task(self) -> bool:
        self._read_lines()
        if not self._board.lines:
            return False
        self._current = Task(self._board, self._board.lines.popleft(), self._speech)
        self._task = self._current.run()
        self._wait = self._board.now_s
        if self.variant.busy_every_s is not None:
            self._busy_due_s = self._board.now_s + self.variant.busy_every_s
        return True

    def _work(self) -> None:
        self._read_lines()
        super()._work()

    def _step(self, task: Iterator[Wait]) -> None:
        super()._step(task)
        if self._board.input_dropped:
            self._forget_dropped()
        elif self._task is None:
            self._current = None
            self._quiet_since_s = self._board.now_s

    def _read_lines(self) -> None:
        """Move bytes from the receive buffer to lines as long as a line more can wait."""
        while self._received and self._takes_more():
            byte = self._received.popleft()
            if byte not in LINE_ENDS:
                if len(self._line) < LONGEST_KEPT:
                    self._line.append(byte)
            elif not self._line and self._again_due_s < math.inf and self.variant.speech == "echoing":
                self._board.say("Got:", self.variant.ok_delay_s)
            elif self._line:
                raw = self._line.decode("latin-1")
                self._line.clear()
                self._take(self._board.check.take(raw))

    def _takes_more(self) -> bool:
        free = self._current is None or self.variant.reads_while_working
        return free and len(self._board.lines) < self.variant.command_lines

    def _take(self, judged: NumberedCommand | LineAnswer | None) -> None:
        if isinstance(judged, LineAnswer):
            for text in judged.said:
                self._board.say(text, self.variant.ok_delay_s)
            if judged.kind == "resend" and self.variant.drops_input_on_resend:
                self._received.clear()
            if judged.kind == "resend" and self.variant.resend_again_s is not None:
                self._again_due_s, self._repeats_left = self._board.now_s + self.variant.resend_again_s, MOST_REPEATS
        elif judged is not None:
            self._again_due_s = math.inf
            self._board.lines.append(judged)

    # --- by itself ------------------------------------------------------------------------------------------

    def _own_changes(self) -> Iterable[float | None]:
        again_s = self._again_due_s if self._again_due_s < math.inf else None
        halts_s = self._board.halts_at_s if self._board.halts_at_s < math.inf else None
        return (self._wait_due_s(), self._unfinished_due_s(), self._busy_s(), again_s, halts_s)

    def _live(self) -> None:
        now_s = self._board.now_s
        if self._board.halts_at_s <= now_s:
            self._board.end_halt()
            self._forget_dropped()
        if (due_s := self._busy_s()) is not None and due_s <= now_s and self.variant.busy_every_s is not None:
            self._board.say(self._speech.busy)
            self._busy_due_s = now_s + self.variant.busy_every_s
        if (due_s := self._unfinished_due_s()) is not None and due_s <= now_s:
            self._line.clear()
            self._watched.clear()
            self._take(self._board.check.resend("line not finished"))
            self._repeats_left = math.inf
        elif self._again_due_s <= now_s:
            self._ask_again()
        if (due_s := self._wait_due_s()) is not None and due_s <= now_s:
            self._board.say("wait")
            self._quiet_since_s = now_s

    def _ask_again(self) -> None:
        for text in self._board.check.resend("").said:
            self._board.say(text)
        self._repeats_left -= 1
        self._again_due_s = self._again_due_s + (self.variant.resend_again_s or 0.0) if self._repeats_left else math.inf

    def _busy_s(self) -> float | None:
        working = self._current is not None and (not self._current.answered or self._current.syncing)
        return self._busy_due_s if working and self._busy_due_s < math.inf else None

    def _unfinished_due_s(self) -> float | None:
        if not self._line or self.variant.unfinished_line_s is None:
            return None
        return self._last_byte_s + self.variant.unfinished_line_s

    def _wait_due_s(self) -> float | None:
        board, mode = self._board, self.variant.wait_lines
        if mode == "none" or board.lines or self._line or board.halted or self._again_due_s < math.inf:
            return None
        since_s = max(self._quiet_since_s, board.boot_until_s)
        if mode == "even-moving":
            if self._current is not None and (not self._current.answered or not self.variant.reads_while_working):
                return None
        else:
            if self._current is not None or board.kernel.moving():
                return None
            since_s = max(since_s, board.kernel.last_end_s)
        return since_s + WAIT_EVERY_S
