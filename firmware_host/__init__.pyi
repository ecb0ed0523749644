# The public API: each name stands here once, with the file it comes from.

# Files: a job with its machine, and where profiles are.
# Controllers.
from .controller.controller import Controller as Controller

# What a plug-in is made from.
from .controller.dialect import Dialect as Dialect

# Every error that is raised on purpose.
from .errors import ControllerError as ControllerError
from .errors import FirmwareHostError as FirmwareHostError
from .errors import GateError as GateError
from .errors import InputError as InputError
from .errors import JournalError as JournalError
from .errors import LimitExceededError as LimitExceededError
from .errors import LinkError as LinkError
from .errors import PlanError as PlanError
from .errors import RunStoppedError as RunStoppedError
from .errors import SettingsMismatchError as SettingsMismatchError
from .errors import ZeroNotSaidError as ZeroNotSaidError
from .model.files.loading import Setup as Setup
from .model.files.loading import job_from as job_from
from .model.files.loading import load_job as load_job
from .model.files.loading import load_machine as load_machine
from .model.files.loading import load_motor as load_motor
from .model.files.profiles import list_profiles as list_profiles
from .model.files.profiles import new_profile as new_profile
from .model.files.schemas import schema as schema
from .model.files.stations import remembered_station as remembered_station
from .model.job.job import Job as Job
from .model.machine.machine import Machine as Machine

# Plans: segments, moves, limits, reliability, other motors, other values.
from .planning.compare.motors import compare_motors as compare_motors
from .planning.compare.sweep import sweep_limits as sweep_limits
from .planning.export.rs274 import rs274_lines as rs274_lines
from .planning.layout.seams import TrueSizes as TrueSizes
from .planning.limit_report import LimitReport as LimitReport
from .planning.limits.check import Verdict as Verdict
from .planning.plan import JobPlan as JobPlan
from .planning.plan import plan_job as plan_job
from .planning.reliability.estimate import reliability as reliability

# In a notebook.
from .reporting.report.notebook import show as show
from .reporting.report.notebook_types import load_ipython_extension as load_ipython_extension
from .station.batch.opened import resume_batch as resume_batch
from .station.batch.opened import run_batch as run_batch
from .station.gates.gate import Gate as Gate
from .station.gates.gate import GateContext as GateContext
from .station.gates.gate import PassRequest as PassRequest
from .station.gates.gate import PassState as PassState

# A hand on the axis.
from .station.hand.opened import open_hand as open_hand

# Runs: one at a time in this thread, or in a thread of its own; and what is left of them.
from .station.journal.record import RunRecord as RunRecord
from .station.opened import OpenStation as OpenStation
from .station.opened import open_station as open_station
from .station.opening import find_controllers as find_controllers
from .station.opening import open_controller as open_controller
from .station.reopened import reopen_station as reopen_station
from .station.run_handle import RunEvent as RunEvent
from .station.run_handle import RunHandle as RunHandle
from .station.run_handle import start_run as start_run
from .station.runs.folder import RunFolder as RunFolder
from .station.runs.listing import list_runs as list_runs
from .station.runs.verify import verify_run as verify_run
