from .answer.choice import frontier as frontier, what_would_change as what_would_change
from .answer.compare import compare as compare
from .answer.headroom import headroom as headroom
from .answer.ledger import Ledger as Ledger, ledger as ledger
from .answer.nothing import do_nothing as do_nothing
from .answer.outage import Outage as Outage
from .answer.recommend import recommend as recommend, verdicts as verdicts
from .answer.ride import Ride as Ride, ride as ride, spread as spread
from .answer.size import Size as Size, size as size
from .answer.stages import Stages as Stages, plan_stages as plan_stages
from .estimate import Estimate as Estimate
from .measure.bench import fit_rundowns as fit_rundowns, next_test as next_test
from .measure.candidates import UnitTable as UnitTable, read_prices as read_prices, read_units as read_units
from .measure.draw import Draw as Draw, measure_draw as measure_draw, time_to_log as time_to_log
from .measure.log import Meter as Meter, MeterLog as MeterLog, hand_readings as hand_readings, read_log as read_log
from .measure.rundown import Rundown as Rundown
from .measure.standby import (
    idle_fuel as idle_fuel,
    standby_from_empty as standby_from_empty,
    standby_from_gauge as standby_from_gauge,
    standby_from_refill as standby_from_refill,
    standby_on as standby_on,
)
from .measure.weather import read_weather as read_weather
from .model.battery import (
    aged as aged,
    charge_after as charge_after,
    peukert_hours as peukert_hours,
    takes_charge as takes_charge,
)
from .model.cabinet import Cabinet as Cabinet
from .model.inverter import Inverter as Inverter, Ratings as Ratings
from .model.load import Load as Load
from .model.nameplate import apparent_power as apparent_power, in_room as in_room, label_power as label_power
from .model.pattern import Pattern as Pattern
from .model.price import Price as Price, PriceList as PriceList
from .model.recharge import Generator as Generator, Mains as Mains, Recharge as Recharge
from .model.rundowns import RundownLine as RundownLine
from .model.sun import Sun as Sun, Weather as Weather
from .model.temperature import TemperatureCurve as TemperatureCurve
from .model.unit import BackupUnit as BackupUnit
from .own.agreement import Agreement as Agreement, agreement as agreement
from .own.folder import OwnBench as OwnBench, read_bench as read_bench
from .sources import coefficient as coefficient
from .teach.claims import claim as claim
from .teach.exercises import exercise as exercise
from .teach.scenario import protocol as protocol, write_templates as write_templates
from .teach.sheet import Sheet as Sheet, method_sheet as method_sheet
from .units import Q_ as Q_, Refusal as Refusal, display as display, read_quantity as read_quantity, show as show
