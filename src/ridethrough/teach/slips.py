"""The usual mistakes, each with the hint that fits it. Exercises and claims put to the test share them."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Slip:
    """A mistake that is often made.

    Parameters
    ----------
    name : str
        What went wrong, in a few words.
    hint : str
        One or two sentences that help on, without the solution.
    """

    name: str
    hint: str


WATTS_FOR_WATT_HOURS = Slip(
    "power given for energy",
    "That is how fast energy flows, in watts. For how much has flowed, say for how many hours it flowed.",
)
STICKER_ALL_DAY = Slip(
    "the sticker's watts for the whole time",
    "The sticker gives the most it may draw, not what it draws on average. A refrigerator rests most of the time.",
)
STANDBY_FORGOTTEN = Slip(
    "the unit's own standby left out",
    "The unit uses energy too, by being switched on. It does so for every hour of the outage.",
)
STANDBY_TAKEN_OFF = Slip(
    "standby taken off the load",
    "Load and standby draw on the same battery at the same time. Do they help each other or add up?",
)
HOURS_FOR_DAYS = Slip(
    "a yearly or daily number spread over the wrong time",
    "Look at the time in the unit: per year, per day or per hour. Convert it before you compare.",
)
PERCENT_AS_SHARE = Slip(
    "a percentage taken as a share",
    "One percent is one in a hundred. Divide by 100 before you multiply.",
)
CURED_BY_TIME = Slip(
    "the meter's error averaged away",
    "A meter that reads high in one hour reads high in the next. Its error does not shrink with the hours.",
)
EMPTY_RUN_FOR_DIFFERENCE = Slip(
    "divided by the empty run, not by the difference",
    "The unit takes its standby in both runs. Take the shorter run's standby off before you divide.",
)
ENERGY_FOR_POWER = Slip(
    "energy given for power",
    "That is how much has flowed, in watt-hours. Standby is how fast it flows: divide by hours.",
)
EFFICIENCY_FROM_ANOTHER_LOAD = Slip(
    "the box's efficiency taken at another load",
    "That percentage holds at the load beside it. Take the watts lost there apart, into standby and the rest.",
)
STANDBY_ON_TOP = Slip(
    "standby charged on top of an efficiency",
    "The stated efficiency has the standby in it already. Take it off the loss before you work out the share.",
)
MULTIPLIED_BY_EFFICIENCY = Slip(
    "multiplied by the efficiency, not divided",
    "Does the battery give more than reaches the outlet, or less?",
)
SHARE_FORGOTTEN = Slip(
    "only the standby counted as loss",
    "Standby is the loss with nothing plugged in. A second part of the loss comes with the load.",
)
LOSS_OF_ANOTHER_LOAD = Slip(
    "the heavy load's loss taken for the light one",
    "Only the standby stays as it is. The rest of the loss is a share of the load and shrinks with it.",
)
COLD_ON_THE_REST = Slip(
    "the cold's share taken of what was left",
    "The cold raises the level at which the unit is empty, and it does so for the whole battery. Take that share of "
    "the full energy, then see what is left above it.",
)
ROOM_FORGOTTEN = Slip(
    "the freezer's draw as in the milder room",
    "The freezer stands in the cold too. Work out what it draws there before you divide.",
)
AMPERE_HOURS_FOR_ENERGY = Slip(
    "ampere-hours given for energy",
    "Ampere-hours count charge. How much energy that is depends on the voltage that stands beside them.",
)
ALL_THAT_IS_PRINTED = Slip(
    "the whole printed capacity",
    "That is what the box holds when new and full. Three shares come off before the unit switches off.",
)
HALF_FOR_EVERY_BATTERY = Slip(
    "half taken for every battery",
    "Half is a choice for lead-acid. The question says what this unit gives up.",
)
PERCENTS_ADDED_UP = Slip(
    "the missing percents added up",
    "Each share is a share of what the one before has left, not of what is printed. Do such shares add or multiply?",
)
AGE_LEFT_OUT = Slip(
    "the battery's age left out",
    "An old battery is full at less than what is printed. One of the shares says how much less.",
)
START_LEFT_OUT = Slip(
    "taken as full at the start",
    "It was not full when the outage began. One of the shares says how full it was.",
)
NEED_FOR_PRINT = Slip(
    "the need given for the print",
    "So much must come out of the battery. It is not quite full at the start and never gives all: must more be "
    "printed than comes out, or less?",
)
MULTIPLIED_BY_SHARES = Slip(
    "multiplied by the shares, not divided",
    "From the print to what comes out you multiply. You go the other way.",
)
ONE_DAY_FOR_ALL = Slip(
    "one day only",
    "That carries the freezer for one day. The outage is longer.",
)
CONVERSION_FORGOTTEN = Slip(
    "the conversion loss left out",
    "What reaches the outlet was more when it left the battery. The question says by which share of the load.",
)
STANDBY_FOR_EACH = Slip(
    "the standby counted once for every load",
    "It is the unit that takes it, for being on. How many units are there?",
)
EVENING_ALL_DAY = Slip(
    "an evening's load taken for the whole day",
    "Each load has its own hours. Multiply each by its own before you add.",
)
