"""Orders made so that the acceptance scenarios 6 to 9 stand on a page with their own losses and regains.

Run as a program it puts them into the mill of DOFFER_DATA; tests call `make_scenarios`.
"""

from __future__ import annotations

LOST_AT_PICKER_PCT = {"wool": 12, "alpaca": 20, "silk": 8, "synthetic": 12}
SOCK = {"product": "yarn", "plies": 3, "length_m_per_100g": 425, "piece_mass_g": 100}
THREE = {"wool": 0.5, "alpaca": 0.3, "silk": 0.2}


def make_scenarios(by) -> dict[str, str]:
    """Machines that keep nothing, the scenarios' losses, lots and orders; gives order numbers by name."""
    from doffer.mill.models import Machine

    Machine.objects.update(holdup_mg=0)
    put_losses(by)
    wool = bag(by, "wool", 9.3, 0.147)
    alpaca = bag(by, "alpaca", 8.0, 0.097)
    little = bag(by, "alpaca", 1.6, 0.097)
    silk = bag(by, "silk", 3.0, 0.098)
    wool_9, nylon_9 = bag(by, "wool", 3.0, 0.15), bag(by, "polyamide", 1.0, 0.041)
    wanted = {**SOCK, "finished_mass_g": 6000, "shares": THREE}
    return {
        "three fibres": order(by, "sock", (wool, alpaca, silk), wanted),
        "limiting fibre": order(by, "sock", (wool, little, silk), wanted),
        "tin": order(by, "wool and nylon", (wool_9, nylon_9), SOCK),
    }


def put_losses(by) -> None:
    """The whole loss from picker to skein at the picker, nothing elsewhere."""
    from doffer.mill import clock
    from doffer.mill.bridge import load_tables
    from doffer.mill.models import TableOverride

    lost = {f"pick/{fibre}": str(share) for fibre, share in LOST_AT_PICKER_PCT.items()}
    TableOverride.objects.bulk_create(
        TableOverride(table="stage_losses", row=key, column=f"dry_loss_{column}_pct", value=value,
                      reason="scenario", made_at=clock.now(), made_by=by)
        for key in load_tables().stage_losses
        for column, value in (("low", ""), ("high", ""), ("mode", lost.get(key, "0")))
    )  # fmt: skip


def bag(by, fibre: str, kg: float, regain_frac: float) -> str:
    """A clean lot of the mill with its water measured."""
    from doffer.mill.booking import Reading
    from doffer.mill.commands.intake import Bag, FibreFacts, weigh_in_bag
    from doffer.mill.models import Customer

    own = Customer.objects.filter(is_own=True).first()
    reading = Reading(gross_g=kg * 1000, branch="measured", measured_regain_frac=regain_frac)
    facts = FibreFacts(fibre=fibre, breed="", colour_name="white", lab=(85, 0, 9))
    told = Bag(customer=own.code, facts=facts, reading=reading, form="scoured", place="store")
    return weigh_in_bag(by, told).lot


def order(by, name: str, lots: tuple[str, ...], wish: dict) -> str:
    """An order of the mill's own account."""
    from doffer.mill.commands.orders import OrderFacts, OrderLotFacts, take_order
    from doffer.mill.models import Customer

    own = Customer.objects.filter(is_own=True).first()
    facts = OrderFacts(
        customer=own.code,
        product="sock yarn",
        spec={"batches": [{"name": name, "lots": list(lots), "wish": wish}]},
        lots=tuple(OrderLotFacts(lot=lot, role="own fibre") for lot in lots),
    )
    return take_order(by, facts)


def main() -> None:
    """Into the mill of DOFFER_DATA, and say the numbers."""
    import json
    import os
    import sys

    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "doffer.settings")
    django.setup()
    from doffer.people.models import Person

    sys.stdout.write(json.dumps(make_scenarios(Person.objects.get(code="P1"))))


if __name__ == "__main__":
    main()
