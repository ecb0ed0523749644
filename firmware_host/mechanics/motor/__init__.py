"""The stepping motor: torque, heat, supply."""
