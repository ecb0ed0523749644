"""What the board does with one complete line, as a chain of waits that ends with its answer.

Every function here is a generator: it yields what it waits for, and the device's event loop continues with it when that
has come, the board's `now_s` being that instant.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator

from firmware_host.simulator.board_core import Wait
from firmware_host.simulator.status_query.board import Board
from firmware_host.simulator.status_query.program import LinePlan, Move
from firmware_host.simulator.status_query.refusal import RefusedLineError
from firmware_host.simulator.status_query.reports import build_lines, modes_lines, offset_lines, start_lines
from firmware_host.simulator.status_query.words import Words, read_setting, read_words, strip_line


def serve_line(board: Board, raw: str) -> Iterator[Wait]:
    """Carry the line out and answer it: once, with `ok` or `error:N`."""
    text, ways = strip_line(raw), board.variant.ways
    board.answered_early = False
    answer = "ok"
    try:
        if len(raw if ways.comments_count else text) > ways.longest_line:
            raise RefusedLineError(board.variant.speech.long_line)
        if not text or (text.startswith("$") and not ways.latch_until_empty):
            board.latched_error = None
        elif text.startswith("$"):
            pass
        elif board.latched_error is not None:
            raise RefusedLineError(board.latched_error)
        yield from _carry_out(board, text)
    except RefusedLineError as refusal:
        if ways.latch_until_empty or (board.variant.block_whole_line_after_error and not text.startswith("$")):
            board.latched_error = refusal.number
        answer = f"error:{refusal.number}"
    if not board.answered_early:
        yield from _answer(board, answer)


def _answer(board: Board, answer: str) -> Iterator[Wait]:
    yield board.now_s + board.variant.ok_delay_s
    board.say(answer)


def _carry_out(board: Board, text: str) -> Iterator[Wait]:
    if not text or (text == "%" and board.variant.ways.percent_taken):
        return
    if text.startswith("$J="):
        yield from _jog(board, text[3:])
    elif text.startswith("$"):
        yield from _system(board, text)
    elif board.locked or board.sleeping or board.state_word() == "Jog":
        raise RefusedLineError(9)
    else:
        yield from _program_line(board, text)


# --- the program ---------------------------------------------------------------------------------------------


def _words(board: Board, text: str) -> Words:
    words = read_words(text, board.variant.axes, unknown_letter=board.variant.speech.unknown_letter)
    if {f"M{number}" for number in words.m.values()} & board.variant.ways.unknown_words:
        raise RefusedLineError(20)
    return words


def _program_line(board: Board, text: str) -> Iterator[Wait]:
    words = _words(board, text)
    if board.checking:
        board.program.read(words)
        return
    if words.g.get("once") in (100, 281, 301):
        yield from _standstill(board)
    plan = board.program.read(words)
    yield from _outputs(board, plan)
    if plan.dwell_s is not None:
        if board.variant.sync_answered == "when-queued":
            yield from _answer(board, "ok")
            board.answered_early = True
        yield from _standstill(board)
        yield board.now_s + max(plan.dwell_s, board.variant.ways.least_dwell_s)
    if plan.stores:
        yield from _write(board)
    for move in plan.moves:
        yield from _move(board, move)
    if plan.stop is not None:
        yield from _standstill(board)
    if plan.stop == 0:
        board.hold()
        board.paused = True
        yield lambda: not board.paused


def _outputs(board: Board, plan: LinePlan) -> Iterator[Wait]:
    """Switch outputs, each once all motion before it has ended."""
    if plan.outputs:
        yield from _standstill(board)
        board.outputs += [(board.now_s, word) for word in plan.outputs]


def _move(board: Board, move: Move) -> Iterator[Wait]:
    if board.settings["$20"] and not board.within_travel(move.target):
        yield from _stop_for_limit(board)
    yield lambda: len(board.kernel) < board.variant.planner_blocks
    board.queue_move(move, "move")


def _stop_for_limit(board: Board) -> Iterator[Wait]:
    """Slow down, then lock without losing a step; some boards then wait for a soft reset."""
    ways, speech = board.variant.ways, board.variant.speech
    board.hold()
    yield lambda: board.kernel.holding == "held"
    board.cut_motion()
    board.synchronise()
    board.alarm(2)
    if ways.limit_alarm == "locks":
        raise RefusedLineError(9)
    board.stuck_at_limit = True
    board.say(speech.needs_reset, ways.alarm_pause_s)
    yield lambda: False


def _standstill(board: Board) -> Iterator[Wait]:
    """Wait until everything queued has been done and the board has noticed."""
    if len(board.kernel):
        yield lambda: not len(board.kernel)
        noticed_s = board.kernel.last_end_s + board.variant.sync_delay_s
        yield max(noticed_s, board.idle_shown_s()) if board.variant.ways.sync_after_idle else noticed_s


def _write(board: Board) -> Iterator[Wait]:
    """Write to EEPROM: the device loses all bytes received up to `write_until_s`."""
    board.write_until_s = board.now_s + board.variant.eeprom_write_s
    yield board.write_until_s


# --- lines that begin with $ ---------------------------------------------------------------------------------


def _system(board: Board, text: str) -> Iterator[Wait]:
    simple: dict[str, Callable[[Board], Iterator[Wait]]] = {
        "$X": _unlock,
        "$H": _home,
        "$C": _check,
        "$SLP": _sleep,
    }
    speech = board.variant.speech
    printed: dict[str, Callable[[Board], list[str]]] = {
        "$": lambda _board: [speech.help],
        "$$": lambda board: board.settings.lines(),
        "$#": offset_lines,
        "$I": build_lines,
        "$G": modes_lines,
        **({"$N": start_lines} if speech.start_lines else {}),
    }
    if text in printed:
        if text in ("$$", "$#", "$I"):
            _need_rest(board)
        for line in printed[text](board):
            board.say(line)
    elif text in simple:
        yield from simple[text](board)
    elif text == "$RST=$":
        _need_rest(board)
        board.settings.update(board.variant.initial_settings())
        yield from _write(board)
    elif "=" in text:
        yield from _setting(board, text)
    else:
        raise RefusedLineError(speech.unknown_dollar)


def _setting(board: Board, text: str) -> Iterator[Wait]:
    """Store one setting."""
    _need_rest(board)
    name, _, value = text.partition("=")
    if not name[1:].isdigit():
        raise RefusedLineError(board.variant.speech.unknown_dollar)
    position = board.machine_position()
    board.settings.write(f"${int(name[1:])}", read_setting(value, board.variant.speech.number_tail))
    board.rescale(position)
    yield from _write(board)


def _need_rest(board: Board) -> None:
    if board.state_word() not in ("Idle", "Alarm"):
        raise RefusedLineError(8)


def _unlock(board: Board) -> Iterator[Wait]:
    if board.locked:
        board.locked = False
        board.say(board.variant.speech.unlocked)
    yield board.now_s


def _check(board: Board) -> Iterator[Wait]:
    speech = board.variant.speech
    if board.checking:
        if speech.check_off:
            board.say(speech.check_off)
            yield from _answer(board, "ok")
            board.answered_early = True
        board.soft_reset()
    elif board.state_word() != "Idle":
        raise RefusedLineError(8)
    else:
        board.checking = True
        board.say(speech.check_on)
    yield board.now_s


def _sleep(board: Board) -> Iterator[Wait]:
    if board.settings.get("$62", 1) == 0:
        raise RefusedLineError(3)
    _need_rest(board)
    if board.variant.ways.sleep == "deaf":
        yield from _answer(board, "ok")
        board.say(board.variant.speech.sleeping)
        board.sleeping = True
        yield lambda: False
    board.sleeping = True
    yield board.now_s


def _jog(board: Board, text: str) -> Iterator[Wait]:
    if board.locked or board.sleeping:
        raise RefusedLineError(9)
    if board.state_word() not in ("Idle", "Jog"):
        raise RefusedLineError(8)
    move = board.program.jog(_words(board, text))
    if board.settings["$20"] and not board.within_travel(move.target):
        raise RefusedLineError(15)
    yield lambda: len(board.kernel) < board.variant.planner_blocks
    board.queue_move(move, "jog")


def _home(board: Board) -> Iterator[Wait]:
    """Search each axis' switch in turn, pull off, and take the machine coordinate from there."""
    if not board.settings["$22"]:
        raise RefusedLineError(5)
    _need_rest(board)
    board.locked = False
    board.homing = True
    for axis in board.variant.axes:
        if axis not in board.variant.home_switches:
            continue
        found = yield from _seek(board, board.variant.axes.index(axis))
        if not found:
            board.homing = False
            board.alarm(9)
            raise RefusedLineError(9)
        board.homed.add(board.variant.axes.index(axis))
    board.homing = False


def _seek(board: Board, index: int) -> Generator[Wait, None, bool]:
    """Search one switch: at most 1.5 times the travel (this board's own limit). Returns whether it was found."""
    settings, axis = board.settings, board.variant.axes[index]
    negative = bool(int(settings["$23"]) >> index & 1)
    sign = -1 if negative else 1
    shaft_sign = -1 if int(settings["$3"]) >> index & 1 else 1
    steps_per_unit = board.steps_per_unit(index)
    distance = shaft_sign * (board.variant.home_switches[axis] - board.kernel.shafts_at(board.now_s)[index])
    farthest = int(1.5 * settings.per_axis(130, index) * steps_per_unit)
    found = 0 <= distance * sign <= farthest
    travel = distance if found else sign * farthest
    pull_off = -sign * round(settings["$27"] * steps_per_unit)
    for steps, feed in ((travel, settings["$25"]), (pull_off if found else 0, settings["$24"])):
        goal = list(board.queued)
        goal[index] += steps
        board.queue_steps(goal, Move((), feed), "home")
        yield lambda: not len(board.kernel)
    edge = -settings.per_axis(130, index) if negative else 0.0
    board.kernel.set_counter(index, round(edge * steps_per_unit) + pull_off)
    board.synchronise()
    return found
