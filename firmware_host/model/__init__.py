"""What the user describes: frozen models of machine, motor, gearing, drive, part, mark and job."""

from firmware_host.model.files.loading import Setup, job_from, load_job, load_machine, load_motor
from firmware_host.model.files.schemas import schema
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.model.machine.motor import Motor

__all__ = ["Job", "Machine", "Motor", "Setup", "job_from", "load_job", "load_machine", "load_motor", "schema"]
