"""A person with a hand on the axis: what each key does, and what they are shown. Prints nothing itself."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping, Sequence

from firmware_host.errors import InputError, LimitExceededError, MotorReleasedError, PlanError
from firmware_host.station.hand.hand import HaltedError, Hand, Where
from firmware_host.station.hand.places import Place
from firmware_host.station.hand.steps import ANGLES, USUAL, Step, angle, lengths
from firmware_host.system.keys import Keys

_IDLE_S = 0.02
_BACK = {"left": True, "right": False}
_LEAVES = ("q", "Q", "escape")
_LONGEST_TYPED = 30
_COUNTS_FROM = {
    "set": "Positions count from the zero that was set by hand.",
    "last": "Positions count from the last run's zero.",
    "none": "No zero is known here: positions count from where the part stands now.",
}
_STOPPED_SHORT = "stopped short: steps may be lost, so no zero is known any more, and positions count from here"
_REFUSED = (InputError, PlanError, LimitExceededError)
AT_MACHINE_ZERO = (
    "This is the controller's own zero, where it also stands after it was switched off: the next run can't tell the "
    "two apart, and will ask."
)


class Screen(ABC):
    """What a person with a hand on the axis sees."""

    @abstractmethod
    def where(self, where: Where, step: Step) -> None:
        """Where the part is now, and by how much a key turns it."""

    @abstractmethod
    def typing(self, prompt: str, typed: str) -> None:
        """What is being typed, behind its prompt."""

    @abstractmethod
    def say(self, text: str) -> None:
        """A sentence that stays."""

    @abstractmethod
    def keys(self, places: Sequence[Place]) -> None:
        """Which key does what; with `places` Enter says that one of them is under the laser."""


class Session:
    """Keys turn the part until one of them leaves. With `places` it ends as soon as one of them was confirmed."""

    def __init__(self, hand: Hand, keys: Keys, screen: Screen, places: Sequence[Place] = ()) -> None:
        self._hand, self._keys, self._screen = hand, keys, screen
        self._places = tuple(places)
        self._by_length = False
        self._step = USUAL
        self._turning = ""
        self._again = False
        self._done = False
        self._next: Callable[[str], None] | None = None
        self._typed = ""
        self._acts: Mapping[str, Callable[[], object]] = {
            "up": lambda: self._size(1),
            "down": lambda: self._size(-1),
            "u": self._other_unit,
            "g": self._ask_angle,
            "z": self._zero_here if not self._places else self._confirm,
            "0": self._back_to_zero,
            "m": self._motor,
            "h": lambda: self._screen.keys(self._places),
        }
        if self._places:
            self._acts = {**self._acts, "enter": self._confirm}

    @property
    def confirmed(self) -> bool:
        """Whether one of the places was confirmed."""
        return self._done

    def run(self) -> None:
        """Until a key leaves, a place is confirmed, or the terminal is closed. Raises what ends a hand."""
        self._screen.keys(self._places)
        self._screen.say(_COUNTS_FROM[self._hand.where.zero])
        self._show()
        self._keys.forget()
        while not self._done and not self._keys.ended:
            key = self._keys.take()
            if key is None:
                self._hand.wait(_IDLE_S)
            elif self._next is not None:
                self._next(key)
            elif key in _LEAVES:
                return
            else:
                self._press(key)

    # --- keys ------------------------------------------------------------------------------------------------------

    def _press(self, key: str) -> None:
        """What a key does; what is refused is said, and the hand stays open."""
        act = (lambda: self._turn(key)) if key in _BACK else self._acts.get(key)
        if act is not None:
            self._do(act)

    def _do(self, act: Callable[[], object]) -> None:
        try:
            act()
        except _REFUSED as error:
            self._screen.say(error.message())
        except MotorReleasedError as error:
            if self._hand.where.energised:  # then it let go by itself
                raise
            self._screen.say(error.message())
        if self._next is None and not self._done:
            self._show()

    def _turn(self, key: str) -> None:
        """A step, and one more for as long as the key stays down; nothing is saved up for later."""
        self._again = True
        while self._again:
            self._again = False
            self._moving(key, lambda look: self._hand.turn_by(self._step_now, back=_BACK[key], on_where=look))

    def _moving(self, key: str, move: Callable[[Callable[[Where], None]], Where]) -> None:
        halted = False

        def look(where: Where) -> None:
            nonlocal halted
            self._screen.where(where, self._step_now)
            if self._other_pressed(key):
                halted = True
                raise HaltedError

        move(look)
        if self._hand.went_round:
            self._screen.say(self._hand.went_round)
        if halted or self._other_pressed(key):
            self._again = False
        if halted:
            self._keys.forget()
            self._screen.say("stopped" if self._hand.stop_keeps_position else _STOPPED_SHORT)

    def _other_pressed(self, key: str) -> bool:
        """Whether another key than the one that turns was pressed; that one wishes for one move more."""
        other = False
        while (pressed := self._keys.take()) is not None:
            self._again = self._again or pressed == key
            other = other or pressed != key
        return other

    @property
    def _steps(self) -> Sequence[Step]:
        diameter = self._hand.plan.diameter
        return lengths(diameter) if self._by_length and diameter is not None else ANGLES

    @property
    def _step_now(self) -> Step:
        return self._steps[self._step]

    def _size(self, change: int) -> None:
        self._step = min(max(self._step + change, 0), len(self._steps) - 1)

    def _other_unit(self) -> None:
        if self._hand.plan.diameter is None:
            raise InputError("the part's diameter is not known", "Name a job, or say --diameter")
        self._by_length = not self._by_length
        self._size(0)

    # --- asking ----------------------------------------------------------------------------------------------------

    def _ask_angle(self) -> None:
        self._typed, self._next = "", self._type
        self._screen.typing("go to (deg)", "")

    def _type(self, key: str) -> None:
        if key in ("enter", "escape"):
            self._next = None
            typed, self._typed = self._typed.strip(), ""
            if key == "enter" and typed:
                self._press_go(typed)
            else:
                self._show()
            return
        if key == "backspace":
            self._typed = self._typed[:-1]
        elif key == "space" or len(key) == 1:
            self._typed = (self._typed + (" " if key == "space" else key))[:_LONGEST_TYPED]
        self._screen.typing("go to (deg)", self._typed)

    def _press_go(self, typed: str) -> None:
        def go() -> None:
            to = angle(typed, bare=True)
            self._moving("", lambda look: self._hand.turn_to(to, on_where=look))

        self._do(go)

    def _back_to_zero(self) -> None:
        self._hand.require_zero()
        self._moving("0", lambda look: self._hand.turn_to(angle("0 deg"), on_where=look))

    # --- zero and motor --------------------------------------------------------------------------------------------

    def _zero_here(self) -> None:
        self._hand.set_zero()
        self._screen.say("zero is here now")
        self._warn_of_machine_zero()

    def _warn_of_machine_zero(self) -> None:
        if self._hand.at_machine_zero:
            self._screen.say(AT_MACHINE_ZERO)

    def _confirm(self) -> None:
        if len(self._places) == 1:
            self._set_at(self._places[0])
            return
        self._screen.say("What stands under the laser now?")
        for number, place in enumerate(self._places, start=1):
            self._screen.say(f"  {number}  {place.words}")
        self._screen.typing(f"1 to {len(self._places)}, or Escape", "")
        self._next = self._choose

    def _choose(self, key: str) -> None:
        self._next = None
        chosen = int(key) if key in "123456789" else 0
        if not 1 <= chosen <= len(self._places):
            self._show()
            return
        try:
            self._set_at(self._places[chosen - 1])
        except InputError as error:
            self._screen.say(error.message())
            self._show()

    def _set_at(self, place: Place) -> None:
        where = self._hand.set_zero(place.turns, place=place.words)
        self._screen.say(
            f"Under the laser: {place.words}. The part stands {where.degrees:+.3f} deg from the job's zero."
        )
        self._warn_of_machine_zero()
        self._done = True

    def _motor(self) -> None:
        if not self._hand.where.energised:
            self._hand.hold()
            self._screen.say("the motor holds the part again; no zero is set")
            return
        self._screen.say(
            "CAUTION: a released part may turn by itself, and its position and every zero are lost. Support it first."
        )
        self._screen.typing("m again releases the motor, any other key leaves it", "")
        self._next = self._release

    def _release(self, key: str) -> None:
        self._next = None
        if key == "m":
            try:
                self._hand.release()
                self._screen.say("the motor is released; m holds the part again")
            except InputError as error:
                self._screen.say(error.message())
        self._show()

    def _show(self) -> None:
        self._screen.where(self._hand.where, self._step_now)
