"""The field types of the user's files ("a torque", "an angle"): each is a text with a unit of its kind."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import core_schema

from firmware_host.units.kinds import KINDS
from firmware_host.units.quantity import Quantity, Sign, parse_quantity, refuse


@dataclass(frozen=True)
class QuantityField:
    """Pydantic annotation: the field is a string with a unit of `kind`, in the range `sign` allows."""

    kind: str
    sign: Sign = "positive"

    def _validate(self, value: object) -> Quantity:
        kind = KINDS[self.kind]
        if isinstance(value, Quantity):
            if value.kind != self.kind:
                raise refuse(f"{value.text!r} is of kind {value.kind}, not {self.kind}", kind)
            parse_quantity(value.text, self.kind, self.sign)
            return value
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise refuse(f"{type(value).__name__} instead of a {self.kind}", kind)
        if isinstance(value, int | float):
            raise refuse(f"bare number {value!r}: the unit is missing", kind)
        return parse_quantity(value, self.kind, self.sign)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(
            self._validate,
            serialization=core_schema.plain_serializer_function_ser_schema(lambda quantity: quantity.text),
        )

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        kind = KINDS[self.kind]
        article = {"positive": ", greater than zero", "non-negative": ", not negative", "any": ""}[self.sign]
        return {
            "type": "string",
            "description": f"{kind.name} with its unit{article}",
            "examples": [kind.example],
            "pattern": r"^\s*[+-]?[0-9.][0-9.eE+/-]*\s*[A-Za-zµμΩ°(].*$",
        }


Length = Annotated[Quantity, QuantityField("length")]
LengthOrZero = Annotated[Quantity, QuantityField("length", "non-negative")]
Mass = Annotated[Quantity, QuantityField("mass")]
Density = Annotated[Quantity, QuantityField("density")]
Force = Annotated[Quantity, QuantityField("force")]
Torque = Annotated[Quantity, QuantityField("torque")]
TorqueOrZero = Annotated[Quantity, QuantityField("torque", "non-negative")]
Inertia = Annotated[Quantity, QuantityField("inertia")]
InertiaOrZero = Annotated[Quantity, QuantityField("inertia", "non-negative")]
Angle = Annotated[Quantity, QuantityField("angle")]
AngleOrZero = Annotated[Quantity, QuantityField("angle", "non-negative")]
SignedAngle = Annotated[Quantity, QuantityField("angle", "any")]
AngularSpeed = Annotated[Quantity, QuantityField("angular speed")]
AngularAcceleration = Annotated[Quantity, QuantityField("angular acceleration")]
Time = Annotated[Quantity, QuantityField("time")]
TimeOrZero = Annotated[Quantity, QuantityField("time", "non-negative")]
Rate = Annotated[Quantity, QuantityField("rate")]
Current = Annotated[Quantity, QuantityField("current")]
Voltage = Annotated[Quantity, QuantityField("voltage")]
Resistance = Annotated[Quantity, QuantityField("resistance")]
Inductance = Annotated[Quantity, QuantityField("inductance")]
Capacitance = Annotated[Quantity, QuantityField("capacitance")]
#: A point of the Celsius scale, no difference: it counts in degC in `si`, too, and kelvins are no unit of it.
Temperature = Annotated[Quantity, QuantityField("temperature", "any")]
ThermalResistance = Annotated[Quantity, QuantityField("thermal resistance")]
TorsionalStiffness = Annotated[Quantity, QuantityField("torsional stiffness")]
