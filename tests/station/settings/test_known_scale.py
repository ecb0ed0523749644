"""What is known of a stored steps-per-unit beyond its decimals: only if we wrote it, and nothing changed since."""

import json
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from types import MappingProxyType

import pytest

from firmware_host.controller.stored_settings import ControllerSettings
from firmware_host.errors import UnreadableFileError
from firmware_host.station.settings.known_scale import KnownScales
from tests.support.bench import bench

URL = "memory://device"


def stored(changed: Mapping[str, float] = MappingProxyType({}), axis: str = "A") -> ControllerSettings:
    """The settings of a simulated board as a controller reads them."""
    return bench({"$103": 26.667, **changed}).open(axis=axis).settings


@pytest.fixture
def scales(tmp_path: Path) -> KnownScales:
    return KnownScales(tmp_path / "controllers")


def the_note(tmp_path: Path) -> Path:
    (note,) = (tmp_path / "controllers").iterdir()
    return note


def test_what_we_wrote_is_recalled_exactly(scales: KnownScales) -> None:
    assert scales.recall(URL, stored()) is None
    scales.remember(URL, stored())
    assert scales.recall(URL, stored()) == Fraction(26667, 1000)


@pytest.mark.parametrize(
    "changed",
    [{"$103": 26.668}, {"$123": 499.0}, {"$1": 25}, {"$30": 999}, {"$3": 8}],
    ids=["scale", "acceleration", "release", "spindle", "direction"],
)
def test_any_change_of_any_setting_makes_the_note_void(scales: KnownScales, changed: dict[str, float]) -> None:
    scales.remember(URL, stored())
    assert scales.recall(URL, stored(changed)) is None
    assert scales.recall(URL, stored()) is not None


def test_a_note_holds_for_its_own_port_and_axis_only(scales: KnownScales) -> None:
    scales.remember(URL, stored())
    assert scales.recall("memory://another", stored()) is None
    assert scales.recall(URL, stored(axis="Z")) is None


def test_a_note_moved_to_another_port_s_place_is_not_believed(scales: KnownScales, tmp_path: Path) -> None:
    scales.remember(URL, stored())
    mine = the_note(tmp_path)
    text = mine.read_text("utf-8")
    scales.remember("memory://another", stored())
    (other,) = set((tmp_path / "controllers").iterdir()) - {mine}
    other.write_text(text, encoding="utf-8")
    assert scales.recall("memory://another", stored()) is None


@pytest.mark.parametrize(
    "damage",
    [b"", b"{", b"[]", b"null", b"\xff\xfe", b"[" * 100_000, b'{"url": "memory://device"}'],
    ids=["empty", "torn", "list", "null", "no-text", "nested", "half"],
)
def test_a_damaged_note_is_as_good_as_none(scales: KnownScales, damage: bytes, tmp_path: Path) -> None:
    scales.remember(URL, stored())
    the_note(tmp_path).write_bytes(damage)
    assert scales.recall(URL, stored()) is None


def test_the_note_says_what_was_read_back_and_nothing_secret(scales: KnownScales, tmp_path: Path) -> None:
    scales.remember(URL, stored())
    note = json.loads(the_note(tmp_path).read_text("utf-8"))
    assert note["url"] == URL
    assert note["steps_per_unit"] == "26.667"


def test_a_note_that_cannot_be_kept_is_told(tmp_path: Path) -> None:
    (tmp_path / "controllers").write_bytes(b"a file in the folder's place")
    with pytest.raises(UnreadableFileError, match="the note cannot be kept"):
        KnownScales(tmp_path / "controllers").remember(URL, stored())


def test_settings_are_compared_in_whatever_order_they_are_printed(scales: KnownScales) -> None:
    settings = stored()
    scales.remember(URL, settings)
    turned = dict(reversed(list(settings.raw.items())))
    assert scales.recall(URL, ControllerSettings.read(turned, "A", settings.names)) is not None
