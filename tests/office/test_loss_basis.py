"""What is lost counts alike on the page of an order, on its run card and at the terminal, and says how."""

from tests.paper import sample

from doffer.cli.plan import _text
from doffer.mill.queries.orders import one_order
from doffer.mill.queries.plan_inputs import plan_inputs
from doffer.office.order_spec import plan_of_order
from doffer.paper import fill
from doffer.pictures.wording import say

THIN = "\u202f"


def test_losses_are_one_figure_on_page_card_and_terminal(client, demo_mill):
    order = one_order("O207")
    plan = plan_of_order(order, plan_inputs(lots=[row.lot.code for row in order.lots])).plan.batches[0]
    page = " ".join(client.get("/orders/O207/").content.decode().split())
    card = fill.run_card(sample.run_card(batch=plan), sample.IMPRINT)["stages"]
    terminal = "\n".join(_text(plan, with_working=False))
    assert "lost, at agreed regain" in terminal
    for stage, printed in zip(plan.stages, card, strict=True):
        fibre = [(loss, mass_g) for loss, mass_g in stage.losses_agreed_g if loss.kind in ("fibre", "held")]
        for loss, mass_g in fibre:
            assert mass_g > loss.mass_g * 1.1  # water that goes with it, as a scale finds it
            if mass_g >= 0.5:
                assert f"{loss.name} {say(mass_g, 'g').replace(THIN, ' ')}" in page
                assert f"{loss.name} {say(round(mass_g), 'g')}" in printed["losses"]
        if fibre:
            assert "(fibre at agreed regain)" in printed["losses"]
        assert say(sum(mass_g for _, mass_g in stage.losses_agreed_g), "g") in terminal
    assert "Fibre at agreed regain." in page
