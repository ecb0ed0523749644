"""The controller's stored settings: as printed, what they mean for one axis, and how they differ from what is wanted.

A controller prints fewer decimals than it stores, so a printed number stands for an interval: half of its last digit
to either side. Printed steps-per-unit are kept as exact fractions of the text, never as floats.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType

from firmware_host.acts import WriteSettings
from firmware_host.errors import ControllerError, SettingsMismatchError

FIX = "write the settings that the plan needs"
"""What mends every difference; `WRITE` says the same as data."""
WRITE = (WriteSettings(),)
SINGLE_ROUNDING = Fraction(1, 1 << 22)
"""What storing a number in a 32-bit float may change of it (2**-24), and reading it from decimals once more."""
WRITTEN_DECIMALS = 3
"""The most decimals of what is written: as many as the boards print that print few, but for some that print two."""
IN_FORCE_BEFORE = "what was in force before"
STORED_BEFORE = "what was stored before"
"""In the place of a text that isn't known."""
_DECIMAL = re.compile(r"-?\d{1,12}(?:\.(\d{1,9}))?", re.ASCII)


@dataclass(frozen=True)
class StoredNumber:
    """A printed number and the interval [low, high] in which the stored value lies (exact fractions)."""

    text: str
    value: Fraction
    low: Fraction
    high: Fraction

    @classmethod
    def printed(cls, text: str) -> StoredNumber:
        """What `text` (a decimal number) tells: its value give or take half of its last digit."""
        match = _DECIMAL.fullmatch(text)
        if match is None:
            raise ControllerError(f"prints {text!r} where a decimal number is expected")
        value = Fraction(text)
        half = Fraction(1, 2 * 10 ** len(match[1] or ""))
        return cls(text, value, value - half, value + half)

    def known_as(self, exact: Fraction) -> StoredNumber:
        """The same number, known exactly because it was written. SettingsMismatchError if it isn't printed so."""
        if not self.may_be(exact):
            wish = f"steps per unit: the controller prints {self.text}, expected {float(exact):.9g}"
            raise SettingsMismatchError((wish,), FIX, acts=WRITE)
        text = self.text if Fraction(self.text) == exact else decimal_text(exact)
        return StoredNumber(text, exact, exact, exact)

    def may_be(self, wanted: Fraction) -> bool:
        """True if the stored value can be `wanted`, as far as the print tells."""
        return self.low <= wanted <= self.high

    def reads_as(self, written: Fraction) -> bool:
        """True if this is how `written` reads back from a 32-bit float, as far as the print tells."""
        slack = abs(written) * SINGLE_ROUNDING
        return self.low <= written + slack and written - slack <= self.high

    @property
    def is_exact(self) -> bool:
        """True if the stored value is known, not only its interval."""
        return self.low == self.high


@dataclass(frozen=True)
class SettingNames:
    """The key of each setting of one axis; "" where the dialect has none."""

    steps_per_unit: str
    rate: str
    acceleration: str
    general_accelerations: tuple[str, ...] = ()
    """Limits that hold for all axes together; the first that is there counts."""
    release_delay: str = ""
    release_never: int = 0
    """The value of the release delay that means: never."""
    inches: str = ""
    soft_limits: str = ""
    homing: str = ""
    travel: str = ""


@dataclass(frozen=True)
class StatedSettings:
    """What the machine's file states, for controllers that don't tell. None where it states nothing.

    It is taken only where the controller can't be asked, and has to be confirmed on the machine.
    """

    steps_per_unit: Fraction | None = None
    rate_units_per_min: Fraction | None = None
    acceleration_units_per_s2: Fraction | None = None
    rates_per_s: bool | None = None
    """Whether the controller's own rates are per second (True) or per minute (False); None: not known."""
    start_jump_units_per_s: Fraction | None = None
    """The step of speed at the start of a move (units/s, >= 0)."""
    second_step_after_s: float | None = None
    """How long after the first step of a move the second one comes at least (s)."""
    shortest_move_steps: int | None = None
    """Moves of fewer steps are not made."""
    quick_stop: bool | None = None
    """Whether a word ends a move under way."""


@dataclass(frozen=True)
class WantedSettings:
    """What a plan needs of the controller; None where it doesn't care. Units as in `ControllerSettings`."""

    steps_per_unit: Fraction | None = None
    never_released: bool | None = None
    inches: bool | None = None
    soft_limits: bool | None = None
    homing: bool | None = None


@dataclass(frozen=True)
class Difference:
    """One setting that isn't as wanted. `wanted` is the text to write under `key`; `note`: why just that."""

    name: str
    key: str
    stored: str
    wanted: str
    note: str = ""

    def __str__(self) -> str:
        return f"{self.name} ({self.key}): is {self.stored}, wanted {self.wanted}"


@dataclass(frozen=True)
class ControllerSettings:
    """All settings as printed (`raw`: key -> text) and, typed, those that matter to one axis.

    `stored_*` are None, and so are the switches, where the controller doesn't tell; `stated` takes the place of the
    first three. `unreadable` names what the controller didn't tell.
    """

    raw: Mapping[str, str]
    axis: str
    names: SettingNames
    stored_steps_per_unit: StoredNumber | None
    stored_rate: StoredNumber | None
    """Units/min."""
    stored_acceleration: StoredNumber | None
    """Units/s^2."""
    release_delay_ms: int | None = None
    """Milliseconds after a move until the motor is released; None: never, or never once it has been prepared."""
    inches: bool = False
    """Reports are in inches: positions can't be used."""
    soft_limits: bool | None = None
    homing: bool | None = None
    stated: StatedSettings = StatedSettings()

    @classmethod
    def read(cls, raw: Mapping[str, str], axis: str, names: SettingNames) -> ControllerSettings:
        """The typed view of `raw` for `axis`. Raises ControllerError if a setting is missing or isn't a number."""
        if names.steps_per_unit not in raw:
            raise ControllerError(f"has no axis {axis}: it prints no setting {names.steps_per_unit}")
        release = _whole(raw, names.release_delay)
        return cls(
            raw=MappingProxyType(dict(raw)),
            axis=axis,
            names=names,
            stored_steps_per_unit=positive(raw, names.steps_per_unit),
            stored_rate=positive(raw, names.rate),
            stored_acceleration=positive(raw, names.acceleration),
            release_delay_ms=None if release == names.release_never else release,
            inches=_whole(raw, names.inches) != 0,
            soft_limits=_whole(raw, names.soft_limits) != 0,
            homing=_whole(raw, names.homing) != 0,
        )

    @property
    def unreadable(self) -> tuple[str, ...]:
        """What the controller didn't tell of steps per unit, rate and acceleration; empty if it told all."""
        told = {
            "steps per unit": self.stored_steps_per_unit,
            "rate": self.stored_rate,
            "acceleration": self.stored_acceleration,
        }
        return tuple(name for name, number in told.items() if number is None)

    @property
    def steps_per_unit(self) -> StoredNumber:
        """As printed, else as stated. ControllerError if neither is known; so for the next two."""
        return _stored_or_stated("steps per unit", self.stored_steps_per_unit, self.stated.steps_per_unit)

    @property
    def rate_units_per_min(self) -> StoredNumber:
        """The highest rate (units/min)."""
        return _stored_or_stated("rate", self.stored_rate, self.stated.rate_units_per_min)

    @property
    def acceleration_units_per_s2(self) -> StoredNumber:
        """The acceleration (units/s^2) of a move of this axis alone."""
        return _stored_or_stated("acceleration", self.stored_acceleration, self.stated.acceleration_units_per_s2)

    def compare(self, wanted: WantedSettings) -> tuple[Difference, ...]:
        """Every setting that isn't as wanted, in a fixed order; empty when the controller fits the plan.

        What the controller doesn't tell is no difference, for it can't be written either: see `unreadable`.
        """
        names = self.names
        found = [
            _number("steps per unit", names.steps_per_unit, self.stored_steps_per_unit, wanted.steps_per_unit),
            self._release(wanted.never_released),
            self._switch("reports in inches", names.inches, self.inches, wanted.inches),
            self._switch("soft limits", names.soft_limits, self.soft_limits, wanted.soft_limits),
            self._switch("homing", names.homing, self.homing, wanted.homing),
        ]
        return tuple(difference for difference in found if difference is not None)

    def _release(self, never: bool | None) -> Difference | None:
        if not never or self.release_delay_ms is None:
            return None
        return Difference("motor release delay", self.names.release_delay,
                          f"{self.release_delay_ms} ms", str(self.names.release_never))  # fmt: skip

    def _switch(self, name: str, key: str, stored: bool | None, wanted: bool | None) -> Difference | None:
        if not key or wanted is None or stored is None or wanted == stored:
            return None
        return Difference(name, key, self.raw[key], str(int(wanted)))


class SettingsLeft:
    """How an act leaves the settings: each text that may be in force, and each that may be stored.

    It begins with what is listed `before` the act. `in_force` and `stored` say which of the two that tells; the other
    is `IN_FORCE_BEFORE` or `STORED_BEFORE`, whatever that is. Boards that store each setting when it is set have no
    difference between them (`at_once`).
    """

    def __init__(self, before: Mapping[str, str], *, at_once: bool, in_force: bool, stored: bool) -> None:
        self._at_once = at_once
        self._first_in_force = {key: frozenset({text if in_force else IN_FORCE_BEFORE}) for key, text in before.items()}
        self._first_stored = {key: frozenset({text if stored else STORED_BEFORE}) for key, text in before.items()}
        self.sent: set[str] = set()
        """What may have been taken, whatever is listed since."""
        self._in_force = dict(self._first_in_force)
        self._stored = dict(self._first_stored)

    def sends(self, key: str, text: str) -> None:
        """`text` is on its way: until it is answered it may have been taken or not."""
        self.sent.add(key)
        self._set(key, self.in_force(key) | {text})

    def took(self, key: str, text: str) -> None:
        """`text` was accepted."""
        self._set(key, frozenset({text}))

    def refused(self, key: str, before: frozenset[str]) -> None:
        """The setting is what it was `before` it was sent."""
        if before == self._first_in_force.get(key):
            self.sent.discard(key)
        self._set(key, before)

    def stores(self) -> None:
        """All that is in force is about to be stored: until that is answered it may have been or not."""
        self._stored = {key: self.stored(key) | texts for key, texts in self._in_force.items()}

    def kept(self) -> None:
        """All that is in force is stored."""
        self._stored = dict(self._in_force)

    def not_kept(self, before: Mapping[str, frozenset[str]]) -> None:
        """What is stored is what it was before."""
        self._stored = dict(before)

    def loads(self) -> None:
        """What is stored may come into force."""
        self._in_force = {key: texts | self.stored(key) for key, texts in self._in_force.items()}

    def loaded(self) -> None:
        """What is stored is in force."""
        self._in_force = dict(self._stored)

    def listed(self, raw: Mapping[str, str], *, stored: bool) -> None:
        """The controller lists these; `stored`: it lists what is stored, else what is in force."""
        told = {key: frozenset({text}) for key, text in raw.items() if key in self._in_force}
        if stored or self._at_once:
            self._stored.update(told)
        if not stored or self._at_once:
            self._in_force.update(told)

    def in_force(self, key: str) -> frozenset[str]:
        """Each text that may be in force."""
        return self._in_force[key]

    def stored(self, key: str) -> frozenset[str]:
        """Each text that may be stored."""
        return self._stored[key]

    @property
    def all_stored(self) -> Mapping[str, frozenset[str]]:
        """What may be stored of each setting."""
        return dict(self._stored)

    @property
    def changed(self) -> tuple[str, ...]:
        """The settings that may be in force or stored otherwise than before; where it wasn't known, those sent."""
        return tuple(key for key in self._in_force if self._in_force_changed(key) or self._stored_changed(key))

    @property
    def storing_changed(self) -> bool:
        """True if anything may be stored otherwise than before."""
        return self._stored != self._first_stored

    def __str__(self) -> str:
        """How they stand, for people."""
        told = list(self.told(self.changed))
        if not told:
            told = ["no setting is changed, neither in force nor stored"]
        if any(self._stored[key] != first and STORED_BEFORE in first for key, first in self._first_stored.items()):
            told.append("what was in force besides may be stored now")
        if any(
            self._in_force[key] != first and IN_FORCE_BEFORE in first for key, first in self._first_in_force.items()
        ):
            told.append("what was stored besides may be in force now")
        return "; ".join(told)

    def told(self, keys: Iterable[str]) -> Iterator[str]:
        """How each of `keys` stands, for people."""
        for key in keys:
            in_force, stored = (" or ".join(sorted(texts)) for texts in (self.in_force(key), self.stored(key)))
            both = f"in force and stored {stored}"
            yield f"{key}: {both if in_force == stored else f'in force {in_force}, stored {stored}'}"

    def _in_force_changed(self, key: str) -> bool:
        first = self._first_in_force[key]
        return self._in_force[key] != first and (key in self.sent or IN_FORCE_BEFORE not in first)

    def _stored_changed(self, key: str) -> bool:
        first = self._first_stored[key]
        return self._stored[key] != first and (key in self.sent or STORED_BEFORE not in first)

    def _set(self, key: str, texts: frozenset[str]) -> None:
        self._in_force[key] = texts
        if self._at_once:
            self._stored[key] = texts


def decimal_text(value: Fraction) -> str:
    """`value` with at most the three decimals that a controller prints back (nearest, ties to even)."""
    thousandths = round(value * 1000)
    sign = "-" if thousandths < 0 else ""
    return f"{sign}{abs(thousandths) // 1000}.{abs(thousandths) % 1000:03d}"


def _stored_or_stated(name: str, stored: StoredNumber | None, stated: Fraction | None) -> StoredNumber:
    if stored is not None:
        return stored
    if stated is None:
        raise ControllerError(
            f"does not report its {name}: state it in the machine's file, and confirm it on the machine"
        )
    return StoredNumber(f"{float(stated):.9g}", stated, stated, stated)


def _number(name: str, key: str, stored: StoredNumber | None, wanted: Fraction | None) -> Difference | None:
    if wanted is None or stored is None or stored.may_be(wanted):
        return None
    return Difference(name, key, stored.text, decimal_text(wanted))


def _text(raw: Mapping[str, str], key: str) -> str:
    if key not in raw:
        raise ControllerError(f"prints no setting {key}")
    return raw[key]


def positive(raw: Mapping[str, str], key: str) -> StoredNumber:
    """The number printed under `key`. ControllerError if it is missing, no number, or not above 0."""
    number = StoredNumber.printed(_text(raw, key))
    if number.value <= 0:
        raise ControllerError(f"setting {key} is {number.text}: it must be greater than 0")
    return number


def _whole(raw: Mapping[str, str], key: str) -> int:
    number = StoredNumber.printed(_text(raw, key)).value
    if number.denominator != 1:
        raise ControllerError(f"setting {key} is {raw[key]}: it must be a whole number")
    return int(number)
