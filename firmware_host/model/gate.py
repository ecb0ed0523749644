"""How a pass is started and known to be done. Kinds beyond these come from plug-ins and check their own options."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag

from firmware_host.model.base import Described
from firmware_host.units import Time

_BUILT_IN = ("operator", "timed", "command", "tcp")


class OperatorGateOptions(Described):
    """A person starts the pass and presses a key when it is done."""

    kind: Literal["operator"] = "operator"
    timeout: Time | None = Field(default=None, description="give up after this long; without it, wait for ever")


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


class ExtensionGateOptions(Described):
    """A gate kind from a plug-in."""

    kind: str = Field(pattern=r"^[a-z][a-z0-9-]{0,39}$", json_schema_extra={"not": {"enum": list(_BUILT_IN)}})
    options: dict[str, Any] = Field(default_factory=dict)


def _tag(value: Any) -> str:
    kind = value.get("kind") if isinstance(value, dict) else getattr(value, "kind", None)
    return kind if kind in _BUILT_IN else "extension"


AnyGateOptions = Annotated[
    Annotated[OperatorGateOptions, Tag("operator")]
    | Annotated[TimedGateOptions, Tag("timed")]
    | Annotated[CommandGateOptions, Tag("command")]
    | Annotated[TcpGateOptions, Tag("tcp")]
    | Annotated[ExtensionGateOptions, Tag("extension")],
    Discriminator(_tag),
]
