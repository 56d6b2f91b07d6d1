"""All records of the mill, one file per subject.

Numbers are stored as integers so that nothing is rounded on the way through a database: masses in milligrams
(`_mg`), shares and regains in parts per million (`_ppm`), diameters in nanometres (`_nm`), staple in
millimetres (`_mm`), counts in millitex (`_mtex`), money in cents (`_cents`), Lab co-ordinates in hundredths
(`_centi`), figures whose unit a table gives in millionths of it (`_micro`).
"""

from doffer.mill.models.blends import BlendPart, BlendRecipe, MixingFit, RecipeStep, SampleBlend
from doffer.mill.models.chores import Change, Counter, Deed, Job, Setting, TableOverride
from doffer.mill.models.colour import ColourReading, Shade, ShadeBatch, ShadeVerdict, ShadeVersion
from doffer.mill.models.customers import Customer
from doffer.mill.models.evenness import EvennessTrial, MachineFigure
from doffer.mill.models.kitchen import (
    DyeBatch,
    DyeingUndone,
    DyeLoad,
    DyeRecipe,
    DyeRecipeDye,
    KettleStick,
    TubBath,
    TubUse,
)
from doffer.mill.models.lots import Container, Filling, Hold, JoinDecision, Lot, LotPart, Photo
from doffer.mill.models.machines import Machine, Scale
from doffer.mill.models.orders import Order, OrderLot, OrderPlan
from doffer.mill.models.runs import Run, RunInput, RunOutput, RunWaste
from doffer.mill.models.weighings import Weighing
from doffer.mill.models.yarn import LotFibre, MachineSetting, RunSettings, YarnTest

__all__ = [
    "BlendPart",
    "BlendRecipe",
    "Change",
    "ColourReading",
    "Container",
    "Counter",
    "Customer",
    "Deed",
    "DyeBatch",
    "DyeLoad",
    "DyeRecipe",
    "DyeRecipeDye",
    "DyeingUndone",
    "EvennessTrial",
    "Filling",
    "Hold",
    "Job",
    "JoinDecision",
    "KettleStick",
    "Lot",
    "LotFibre",
    "LotPart",
    "Machine",
    "MachineFigure",
    "MachineSetting",
    "MixingFit",
    "Order",
    "OrderLot",
    "OrderPlan",
    "Photo",
    "RecipeStep",
    "Run",
    "RunInput",
    "RunOutput",
    "RunSettings",
    "RunWaste",
    "SampleBlend",
    "Scale",
    "Setting",
    "Shade",
    "ShadeBatch",
    "ShadeVerdict",
    "ShadeVersion",
    "TableOverride",
    "TubBath",
    "TubUse",
    "Weighing",
    "YarnTest",
]
