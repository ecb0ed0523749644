"""How a pass is started and known to be done. Kinds beyond these come from plug-ins and check their own options."""

from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from firmware_host.model.base import Described, contradiction
from firmware_host.model.by_kind import ByKind
from firmware_host.units import Time

_BUILT_IN = ("operator", "timed", "command", "tcp", "modem-lines", "controller-output")


class OperatorGateOptions(Described):
    """A person starts the pass and presses a key when it is done."""

    kind: Literal["operator"] = "operator"
    timeout: Time | None = Field(default=None, description="close the gate and stop after this long; left out: an hour")


class TimedGateOptions(Described):
    """The pass takes a fixed time."""

    kind: Literal["timed"]
    duration: Time


class CommandGateOptions(Described):
    """A program is started for each pass; status 0 says the pass is done.

    The program itself is named when the run is started, never in a file: no file can make a run start a program.
    """

    kind: Literal["command"]
    timeout: Time = Field(description="a pass that takes longer has failed")


class TcpGateOptions(Described):
    """A marking program or a script drives the passes over a loopback socket."""

    kind: Literal["tcp"]
    port: int = Field(default=0, ge=0, le=65535, description="on 127.0.0.1; 0 takes any free one")
    timeout: Time = Field(description="a pass that takes longer has failed")
    connect: Time | None = Field(default=None, description="wait for a hello this long; else as long as a pass")


class ModemLinesGateOptions(Described):
    """Control lines of a serial port: one out says that the gate is open, one in says that the pass is done."""

    kind: Literal["modem-lines"]
    port: str = Field(
        default="", max_length=200, description="a second port, by device path; else the controller's own"
    )
    output: Literal["rts", "dtr"] = Field(default="rts", description="line out; dtr resets many controllers")
    open_is: Literal["on", "off"] = Field(default="on", description="its state while the gate is open")
    input: Literal["cts", "dsr", "dcd"] = Field(default="cts", description="line in, for done")
    done_is: Literal["on", "off"] = Field(default="on", description="its state that says done")
    done_by: Literal["edge", "level"] = Field(
        default="edge", description="edge: it must turn to done after the gate opened; level: done counts at once"
    )
    debounce: Time | None = Field(default=None, description="how long a state must last to count; else 20 ms")
    stop: Literal["cts", "dsr", "dcd"] | None = Field(default=None, description="line in that stops the run")
    stop_is: Literal["on", "off"] = Field(default="on", description="its state that stops the run")
    timeout: Time = Field(description="a pass that takes longer has failed")

    @model_validator(mode="after")
    def _two_lines(self) -> Self:
        if self.stop == self.input:
            raise contradiction("stop", f"{self.stop} says done already; choose another line")
        return self


class ControllerOutputGateOptions(Described):
    """An output of the controller is on while the gate is open; a fixed time or an input of it says done."""

    kind: Literal["controller-output"]
    output: int = Field(default=0, ge=0, le=255, description="numbered-line: the pin; status-query: 0 flood, 1 mist")
    duration: Time | None = Field(default=None, description="the pass takes this long")
    pin: str | None = Field(
        default=None, pattern=r"^[A-Z]$", description="letter of an input in the status report that turns on when done"
    )
    timeout: Time | None = Field(default=None, description="with pin: a pass that takes longer has failed")

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if (self.duration is None) == (self.pin is None):
            raise contradiction("duration", "give duration, or pin and timeout")
        if (self.pin is None) != (self.timeout is None):
            raise contradiction("timeout", "give timeout together with pin")
        return self


class ExtensionGateOptions(Described):
    """A gate kind from a plug-in."""

    kind: str = Field(pattern=r"^[a-z][a-z0-9-]{0,39}$", json_schema_extra={"not": {"enum": list(_BUILT_IN)}})
    options: dict[str, Any] = Field(default_factory=dict)


AnyGateOptions = Annotated[
    OperatorGateOptions
    | TimedGateOptions
    | CommandGateOptions
    | TcpGateOptions
    | ModemLinesGateOptions
    | ControllerOutputGateOptions
    | ExtensionGateOptions,
    ByKind(
        OperatorGateOptions,
        TimedGateOptions,
        CommandGateOptions,
        TcpGateOptions,
        ModemLinesGateOptions,
        ControllerOutputGateOptions,
        otherwise=ExtensionGateOptions,
    ),
]
