"""Sketches of how a gate is wired: our own, in principle only; no board, no laser and no pin of a product."""

from __future__ import annotations

from collections.abc import Callable

from drawing import Drawing

_WIDE = 440.0


def still_apart() -> str:
    """The chain of safety beside the gate."""
    drawing = Drawing(
        _WIDE,
        214,
        "Two separate circuits reach the laser. Emergency stop, guard switch and key switch lie in series in its "
        "interlock circuit, in hardware alone. The gate goes to the start input only, and has no wire in common with "
        "the interlock.",
    )
    drawing.text(0, 16, "Interlock circuit: hardware alone", bold=True)
    for number, words in enumerate(("emergency\nstop", "guard\nswitch", "key\nswitch")):
        drawing.box(4 + 98 * number, 32, 80, 46, look="copper-edge", text=words)
        drawing.line((84 + 98 * number, 55), (102 + 98 * number, 55), look="copper")
    drawing.line((280, 55), (330, 55), look="copper", arrow=True)
    drawing.box(332, 28, 104, 166, look="pale", text="laser and\nmarking side")
    drawing.text(334, 22, "interlock", look="ink")
    drawing.text(0, 128, "Gate: says that the part is still", bold=True)
    drawing.box(4, 142, 120, 46, look="soft", text="circumstep")
    drawing.line((124, 165), (152, 165), look="steel")
    drawing.box(152, 142, 118, 46, look="olive", text="gate")
    drawing.line((270, 165), (330, 165), look="steel", arrow=True)
    drawing.text(284, 208, "start")
    return drawing.svg()


def by_foot() -> str:
    """The operator's gate with two feet or two hands."""
    drawing = Drawing(
        _WIDE,
        200,
        "The operator reads STANDSTILL on the screen, presses the footswitch of the marking side, waits until it "
        "has marked, and presses Enter. No wire joins the two sides.",
    )
    drawing.box(4, 20, 150, 52, look="olive", text="screen:\nSTANDSTILL: mark")
    drawing.box(4, 128, 150, 52, look="soft", text="Enter:\nit is marked")
    drawing.box(176, 74, 84, 52, look="empty", text="operator")
    drawing.box(292, 20, 144, 52, look="soft", text="footswitch of the\nmarking side")
    drawing.box(292, 128, 144, 52, look="pale", text="marking side\nmarks once")
    drawing.line((154, 46), (206, 46), (206, 74), look="steel", arrow=True)
    drawing.line((232, 74), (232, 46), (292, 46), look="steel", arrow=True)
    drawing.line((364, 72), (364, 128), look="steel", arrow=True)
    drawing.line((292, 154), (232, 154), (232, 126), look="steel", arrow=True)
    drawing.line((206, 126), (206, 154), (154, 154), look="steel", arrow=True)
    return drawing.svg()


def isolated_lines() -> str:
    """Two lines of a serial adapter, each through an opto-coupler."""
    drawing = Drawing(
        _WIDE,
        306,
        "The RTS line of a serial adapter lights the LED of an opto-coupler through a resistor; its transistor "
        "closes the start input of the marking side. The marking side's done output lights a second opto-coupler, "
        "whose transistor pulls CTS to the adapter's ground. No wire crosses between the two sides.",
    )
    drawing.box(4, 30, 80, 262, look="pale", text="serial\nadapter,\n3.3 or 5 V\nlevels")
    drawing.box(364, 30, 72, 262, look="pale", text="marking\nside")
    drawing.line((224, 12), (224, 300), look="copper", dashed=True)
    drawing.text(230, 16, "isolated")
    _coupler(drawing, 54, to_right=True)
    _coupler(drawing, 204, to_right=False)
    for y, words in ((62, "supply"), (116, "RTS"), (212, "CTS"), (266, "ground")):
        drawing.text(92, y - 6, words)
    for y, words in ((62, "start"), (116, "common"), (212, "done"), (266, "common")):
        drawing.text(358, y - 6, words, anchor="end")
    return drawing.svg()


def _coupler(drawing: Drawing, top: float, *, to_right: bool) -> None:
    """An opto-coupler between both sides: the LED where the signal comes from, with its resistor."""

    def at(x: float) -> float:
        return x if to_right else 2 * 224 - x

    upper, lower, middle = top + 8, top + 62, top + 35
    drawing.box(172, top - 2, 104, 74, look="apart")
    lit, far = 84, 364
    drawing.line((at(lit), upper), (at(196), upper), (at(196), middle - 8), look="steel")
    drawing.box(min(at(144), at(168)), upper - 6, 24, 12, look="soft")
    drawing.area((at(186), middle - 8), (at(206), middle - 8), (at(196), middle + 8), look="copper")
    drawing.line((at(186), middle + 8), (at(206), middle + 8))
    drawing.line((at(196), middle + 8), (at(196), lower), (at(lit), lower), look="steel")
    for shift in (-7, 5):
        drawing.line((at(210), middle + shift), (at(234), middle + shift), look="copper", arrow=True)
    drawing.line((at(240), middle - 12), (at(240), middle + 12), look="steel thick")
    drawing.line((at(240), middle - 6), (at(254), middle - 16), (at(254), upper), (at(far), upper), look="steel")
    drawing.line((at(240), middle + 6), (at(254), middle + 16), look="steel", arrow=True)
    drawing.line((at(254), middle + 16), (at(254), lower), (at(far), lower), look="steel")


def relay() -> str:
    """A controller's output drives a relay, whose dry contact starts the marking side."""
    drawing = Drawing(
        _WIDE,
        216,
        "An output of the motion controller switches a driver stage, which draws current through a relay's coil; a "
        "diode lies across the coil. The relay's contact, which touches nothing of the controller, closes the "
        "start input of the marking side. The pass takes a fixed time, or an input of the controller says that it "
        "is done.",
    )
    drawing.box(4, 36, 104, 130, look="pale", text="motion\ncontroller")
    drawing.box(332, 36, 104, 130, look="pale", text="marking\nside")
    drawing.line((108, 66), (136, 66), look="steel")
    drawing.text(112, 58, "out")
    drawing.box(136, 46, 64, 40, look="soft", text="driver")
    drawing.line((200, 58), (232, 58), look="steel")
    drawing.line((200, 74), (210, 74), (210, 110), (232, 110), look="steel")
    drawing.box(222, 58, 20, 52, look="copper")
    drawing.line((232, 50), (264, 50), (264, 76), look="steel")
    drawing.line((232, 50), (232, 58), look="steel")
    drawing.area((255, 92), (273, 92), (264, 76), look="ink")
    drawing.line((255, 76), (273, 76))
    drawing.line((264, 92), (264, 118), (232, 118), (232, 110), look="steel")
    drawing.text(204, 136, "coil, diode")
    drawing.line((288, 20), (288, 200), look="copper", dashed=True)
    drawing.text(276, 20, "dry contact", anchor="end")
    drawing.line((332, 66), (306, 66), (306, 84), look="steel")
    drawing.line((306, 84), (318, 104), look="steel thick")
    drawing.line((332, 124), (306, 124), (306, 106), look="steel")
    drawing.text(298, 58, "start")
    drawing.line((384, 166), (384, 190), (56, 190), (56, 166), look="steel", arrow=True)
    drawing.text(216, 208, "done: an input, isolated as well, or a time", anchor="middle")
    return drawing.svg()


def on_one_computer() -> str:
    """A program on the same computer marks, and answers."""
    drawing = Drawing(
        _WIDE,
        112,
        "On one computer: circumstep tells a script of yours that a pass may be marked, over a loopback socket or "
        "by starting it; the script lets the marking program mark once, and answers that it is done.",
    )
    drawing.box(4, 30, 112, 52, look="olive", text="circumstep:\nstill, mark")
    drawing.box(164, 30, 112, 52, look="soft", text="a script\nof yours")
    drawing.box(324, 30, 112, 52, look="pale", text="marking\nprogram")
    for left in (116, 276):
        drawing.line((left, 46), (left + 46, 46), look="steel", arrow=True)
        drawing.line((left + 48, 66), (left + 2, 66), look="copper", arrow=True)
    drawing.text(140, 22, "mark", anchor="middle")
    drawing.text(140, 104, "done", anchor="middle")
    drawing.text(300, 22, "mark", anchor="middle")
    drawing.text(300, 104, "done", anchor="middle")
    return drawing.svg()


DRAWINGS: dict[str, Callable[[], str]] = {
    "still-apart": still_apart,
    "by-foot": by_foot,
    "isolated-lines": isolated_lines,
    "relay": relay,
    "on-one-computer": on_one_computer,
}
