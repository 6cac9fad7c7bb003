"""The procedures by the names that schedules give them."""

from calculation.readings import LossReadings
from sequences.expected import Expected
from sequences.heat_record import HeatRecord
from sequences.heat_run import heat_run
from sequences.loss_test import loss_test
from sequences.scan import Procedure


def procedure_of(expected: Expected, record: HeatRecord | None) -> Procedure[LossReadings]:
    """Return the procedure that the schedule names; a heat run folds into its record."""
    return loss_test(expected) if record is None else heat_run(expected, record)


def record_of(expected: Expected) -> HeatRecord | None:
    """Return an empty record for a heat run, None for what needs none."""
    return HeatRecord(expected) if expected.schedule.procedure == "heat_run" else None
