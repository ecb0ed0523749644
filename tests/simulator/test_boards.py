"""The simulated boards by name: which there are, what they speak, and what is said of those that cannot be."""

from __future__ import annotations

import pytest

import firmware_host as fh
from firmware_host.errors import InputError
from firmware_host.simulator.boards import board_names, simulated_device

STATED_AXES = {
    "numbered-line-a": "X",
    "numbered-line-b": "X",
    "status-query-a": "X",
    "status-query-b": "A",
    "status-query-c": "A",
}


def machine(letter: str) -> fh.Machine:
    described = fh.load_machine("belt-chuck")
    return described.model_copy(update={"axis": described.axis.model_copy(update={"letter": letter})})


def test_there_is_a_board_for_each_recording() -> None:
    assert board_names() == tuple(STATED_AXES)


@pytest.mark.parametrize("delivered", [True, False], ids=["as delivered", "set"])
@pytest.mark.parametrize("board", STATED_AXES)
def test_each_board_drives_the_axis_that_the_machine_states(board: str, delivered: bool) -> None:
    letter = STATED_AXES[board]
    device = simulated_device(machine(letter), delivered=delivered, start_s=0.0, board=board)
    assert device.steps_at(letter, 1.0) == 0
    assert not device.moving_at(1.0)


def test_an_unknown_board_is_refused_with_the_names_there_are() -> None:
    with pytest.raises(InputError, match=r"no board 'status-query-z'.*status-query-a, status-query-b, status-query-c"):
        simulated_device(machine("A"), delivered=True, start_s=0.0, board="status-query-z")


def test_a_board_without_the_machines_axis_is_refused_and_says_which_it_has() -> None:
    with pytest.raises(InputError, match=r"status-query-a drives the axes X Y Z, not A"):
        simulated_device(machine("A"), delivered=True, start_s=0.0, board="status-query-a")


def test_a_board_of_one_dialect_is_not_asked_to_speak_another() -> None:
    with pytest.raises(InputError, match=r"status-query-b speaks status-query, not numbered-line"):
        simulated_device(machine("A"), delivered=True, start_s=0.0, board="status-query-b", dialect="numbered-line")
