"""What the door says of a bag and what the counter says of the same fibre is one figure."""

import pytest
from django.http import QueryDict

from doffer.mill.queries.door import weigh_at_door
from doffer.office.new_order import look
from doffer.pictures.wording import say, say_range

THIN = "\u202f"


def at_counter(form: str, fibre: str):
    """The stage of the counter's plan behind which fibre is clean and dry."""
    asked = {
        "owner": "Moonbucket",
        "fibre": fibre,
        "mass": "2,70 kg",
        "form": form,
        "product": "yarn",
        "plies": "2",
        "thick": "200 m/100 g",
        "piece": "100 g",
    }
    data = QueryDict(mutable=True)
    data.update(asked)
    plan = look(data, "metric").view.plan
    return next(stage for stage in plan.stages if stage.stage == "dry").agreed


@pytest.mark.parametrize("fibre", ["huacaya", "shetland"])
@pytest.mark.parametrize("form", ["greasy", "skirted"])
def test_the_door_expects_what_the_counter_expects(demo_mill, form, fibre):
    said = at_counter(form, fibre)
    seen = weigh_at_door(fibre, gross_g=3000, tare_g=300, rh_frac=None, form=form)
    assert seen.washed_usual_g == pytest.approx(said.mean, abs=1e-6)
    assert (seen.washed_low_g, seen.washed_high_g) == pytest.approx((said.low, said.high), abs=1e-6)


def test_fleece_that_was_not_skirted_gives_less_at_the_door(demo_mill):
    greasy, skirted = (
        weigh_at_door("huacaya", gross_g=3000, tare_g=300, rh_frac=None, form=form).washed_usual_g
        for form in ("greasy", "skirted")
    )
    assert 0.80 < greasy / skirted < 0.92  # a tenth to a seventh is skirted off


def test_the_pages_of_door_and_counter_say_the_same_words(client, demo_mill):
    said = at_counter("greasy", "huacaya")
    page = client.get("/weigh/dry/", {"fibre": "huacaya", "gross": "2.7", "form": "greasy"})
    text = page.content.decode().replace(THIN, " ")
    assert say_range(said.low, said.high, "g").replace(THIN, " ") in text
    assert (
        f"usual {say(said.mean, 'g')} at agreed weight, with skirtings, grease and dirt".replace(THIN, " ")
        in text
    )
