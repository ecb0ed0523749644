"""Settings of controllers with numbered lines: printed or not, rates per second or per minute.

A rate whose unit is known is kept in units/min under a key of its own, so that whoever writes one needn't know what the
controller counts in. A rate whose unit isn't known can't be used, nor written.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from types import MappingProxyType

from firmware_host.controller.reply import RateUnit, Reply, SettingGroup
from firmware_host.controller.stored_settings import (
    ControllerSettings,
    SettingNames,
    StatedSettings,
    StoredNumber,
    positive,
)
from firmware_host.errors import ControllerError, InputError

PER_MINUTE = "/min"
"""Ends the key of a rate that is kept in units/min."""
_SECONDS = 60


@dataclass(frozen=True)
class PrintedSettings:
    """What was printed: key -> text, and whether rates are per second (None: it didn't say)."""

    texts: Mapping[str, str]
    rates_per_s: bool | None

    @classmethod
    def collect(cls, replies: Iterable[Reply]) -> PrintedSettings:
        """The settings in `replies`; if a key comes twice, the last one counts."""
        texts: dict[str, str] = {}
        per_s: bool | None = None
        for reply in replies:
            if isinstance(reply, SettingGroup):
                texts.update({setting.key: setting.text for setting in reply.settings})
                per_s = per_s if reply.rates_per_s is None else reply.rates_per_s
            elif isinstance(reply, RateUnit):
                per_s = reply.per_s
        return cls(texts, per_s)


@dataclass(frozen=True)
class RateKeys:
    """Turns rates into units/min and back. `rate_stem` begins every rate's key.

    `listed_per_s`: a rate is listed in units/s, else in units/min; `written_per_s`: the same of one that is written,
    for some boards take another unit than they list. None: not known.
    """

    rate_stem: str
    listed_per_s: bool | None
    written_per_s: bool | None

    @classmethod
    def of(cls, rate_key: str, printed: PrintedSettings, stated: StatedSettings, *, as_listed: bool = True) -> RateKeys:
        """`as_listed`: the board takes a rate in the unit in which it lists it; else in units/min, if none is stated.

        What the machine's file states is the unit in which the board takes a rate. Raises ControllerError where it
        lists them so and prints another.
        """
        stem = rate_key.partition(" ")[0] + " "
        told, said = printed.rates_per_s, stated.rates_per_s
        if not as_listed:
            return cls(stem, told, said or False)
        if told is not None and said is not None and told != said:
            units = {True: "units/s", False: "units/min"}
            detail = f"prints rates in {units[told]}, but the machine's file states {units[said]}: correct the file"
            raise ControllerError(detail)
        unit = said if told is None else told
        return cls(stem, unit, unit)

    def names(self, names: SettingNames) -> SettingNames:
        """`names` with the rate under its key in units/min."""
        return replace(names, rate=names.rate + PER_MINUTE)

    def per_minute(self, texts: Mapping[str, str]) -> dict[str, str]:
        """`texts` with every rate under its key in units/min, exactly; unchanged if their unit isn't known."""
        if self.listed_per_s is None:
            return dict(texts)
        rates = {key: _times(text, self._listed) for key, text in texts.items() if self._is_rate(key)}
        return {key + PER_MINUTE if key in rates else key: rates.get(key, text) for key, text in texts.items()}

    def own(self, key: str, text: str) -> tuple[str, str]:
        """Key and text as the controller takes them.

        A rate is rounded down to three decimals of its own unit, or as many as `text` has: a listed one is exact.
        Raises InputError for one whose unit isn't known; one in an unknown unit may go back as it was listed.
        """
        if not key.endswith(PER_MINUTE):
            if self._is_rate(key) and self.listed_per_s != self.written_per_s:
                problem = "is listed in a unit that is not known"
                raise InputError(problem, "Write it with the controller's own tools", key=key)
            return key, text
        if self.written_per_s is None:
            raise InputError("is taken in a unit that is not known", "State it in the machine's file", key=key)
        decimals = max(3, len(text.partition(".")[2]))
        whole, rest = divmod(math.floor(Fraction(text) / self._written * 10**decimals), 10**decimals)
        return key.removesuffix(PER_MINUTE), f"{whole}.{rest:0{decimals}d}"

    def stored(self, raw: Mapping[str, str], key: str) -> StoredNumber:
        """What is printed under `key`, give or take half of the last digit that the controller itself prints."""
        number = positive(raw, key)
        if not key.endswith(PER_MINUTE):
            return number
        half = (number.high - number.low) / 2 * self._listed
        return StoredNumber(number.text, number.value, number.value - half, number.value + half)

    def reads_back(self, raw: Mapping[str, str], key: str, text: str) -> bool:
        """True if `raw` shows `key` as what was sent for `text`, as far as its print tells."""
        sent = Fraction(self.own(key, text)[1])
        return self.stored(raw, key).reads_as(sent * self._written if key.endswith(PER_MINUTE) else sent)

    @property
    def _listed(self) -> int:
        return _SECONDS if self.listed_per_s else 1

    @property
    def _written(self) -> int:
        return _SECONDS if self.written_per_s else 1

    def _is_rate(self, key: str) -> bool:
        return key.startswith(self.rate_stem)


def interpret(
    raw: Mapping[str, str], axis: str, names: SettingNames, rates: RateKeys, stated: StatedSettings
) -> ControllerSettings:
    """The typed view of `raw` (rates in units/min) for `axis`. Raises ControllerError for a number that isn't one.

    The acceleration is the smaller one of the axis' own limit and of the general one, if that is printed.
    """
    scale = rates.stored(raw, names.steps_per_unit) if names.steps_per_unit in raw else None
    rate = rates.stored(raw, names.rate) if names.rate in raw else None
    acceleration = rates.stored(raw, names.acceleration) if names.acceleration in raw else None
    general = next((rates.stored(raw, key) for key in names.general_accelerations if key in raw), None)
    if acceleration is not None and general is not None and general.value < acceleration.value:
        acceleration = general
    return ControllerSettings(
        raw=MappingProxyType(dict(raw)),
        axis=axis,
        names=names,
        stored_steps_per_unit=scale,
        stored_rate=rate,
        stored_acceleration=acceleration,
        stated=stated,
    )


def _times(text: str, factor: int) -> str:
    """`text`, a decimal number, times `factor`, with as many decimals."""
    decimals = len(text.partition(".")[2])
    scaled = Fraction(text) * factor * 10**decimals
    whole, rest = divmod(int(scaled), 10**decimals)
    return f"{whole}.{rest:0{decimals}d}" if decimals else str(whole)
