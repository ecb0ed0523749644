"""How warm the motor gets on this machine, as somebody measured it."""

from pydantic import Field

from firmware_host.model.base import Described
from firmware_host.units import ThermalResistance, Time


class Warming(Described):
    """How the motor warms as it is mounted here; what is not measured is as the motor's file says, or assumed.

    Both hold for the motor they were measured with. They are taken from its case's temperature at several times after
    it began to work, cold: see `commission measure warm-up`.
    """

    thermal_resistance: ThermalResistance | None = Field(
        default=None, description="winding to air, as measured with the motor mounted; in place of the motor's own"
    )
    time_constant: Time | None = Field(
        default=None,
        description="of the motor's case, as measured: so long it takes to 63 % of its rise; with it index and pass "
        "count at their warmest moment, without it by their mean",
    )
