"""What the user describes: frozen models of machine, motor, gearing, drive, part, mark and job."""

from firmware_host.model.job import Job
from firmware_host.model.loading import Setup, load_job, load_machine, load_motor
from firmware_host.model.machine import Machine
from firmware_host.model.motor import Motor
from firmware_host.model.schemas import schema

__all__ = ["Job", "Machine", "Motor", "Setup", "load_job", "load_machine", "load_motor", "schema"]
