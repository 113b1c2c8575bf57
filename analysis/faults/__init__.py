"""The catalogue of faults: a tuple written by hand, judged in this order."""

from analysis.faults._protocol import Conclusion, Fault, FaultText, Found, Judged, NotJudged
from analysis.faults.backup_overlap import BackupOverlap
from analysis.faults.charge_limit_low import ChargeLimitLow
from analysis.faults.clock_wrong import ClockWrong
from analysis.faults.degraded_tubes import DegradedTubes
from analysis.faults.flow_reading_wrong import FlowReadingWrong
from analysis.faults.fluid_stress import FluidStress
from analysis.faults.frost_risk import FrostRisk
from analysis.faults.high_flow import HighFlow
from analysis.faults.hygiene_temperature import HygieneTemperature
from analysis.faults.lost_circulation import LostCirculation
from analysis.faults.low_flow import LowFlow
from analysis.faults.night_running import NightRunning
from analysis.faults.no_draw import NoDraw
from analysis.faults.not_yet_fitted import NotYetFitted
from analysis.faults.pipe_heat_loss import PipeHeatLoss
from analysis.faults.poor_heat_transfer import PoorHeatTransfer
from analysis.faults.pressure_loss import PressureLoss
from analysis.faults.pump_never_stops import PumpNeverStops
from analysis.faults.reverse_circulation import ReverseCirculation
from analysis.faults.scald_risk import ScaldRisk
from analysis.faults.sensor_fault import SensorFault
from analysis.faults.sensors_swapped import SensorsSwapped
from analysis.faults.shading import Shading
from analysis.faults.short_cycling import ShortCycling
from analysis.faults.silence import Silence
from analysis.faults.stagnation import Stagnation
from analysis.faults.start_delayed import StartDelayed
from analysis.faults.store_overheat import StoreOverheat
from analysis.faults.vessel_charge_lost import VesselChargeLost
from analysis.faults.yield_shortfall import YieldShortfall

__all__ = [
    "CATALOGUE",
    "Conclusion",
    "Fault",
    "FaultText",
    "Found",
    "Judged",
    "NotJudged",
    "catalogue_text",
]

# The shortfall comes last: it is what nothing above explains.
CATALOGUE: tuple[Fault, ...] = (
    NotYetFitted(),
    SensorFault(),
    FlowReadingWrong(),
    SensorsSwapped(),
    Silence(),
    ClockWrong(),
    FrostRisk(),
    LostCirculation(),
    Stagnation(),
    ReverseCirculation(),
    PumpNeverStops(),
    NightRunning(),
    LowFlow(),
    HighFlow(),
    PoorHeatTransfer(),
    PipeHeatLoss(),
    StartDelayed(),
    ShortCycling(),
    StoreOverheat(),
    ScaldRisk(),
    HygieneTemperature(),
    ChargeLimitLow(),
    BackupOverlap(),
    FluidStress(),
    PressureLoss(),
    VesselChargeLost(),
    NoDraw(),
    Shading(),
    DegradedTubes(),
    YieldShortfall(),
)


def catalogue_text(kind: str, *, catalogue: tuple[Fault, ...] = CATALOGUE) -> FaultText:
    """Give what people read about a kind."""
    return next(fault.text for fault in catalogue if fault.kind == kind)
