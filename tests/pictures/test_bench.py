"""Words of the bench: grams with ounces beside, litres with gallons beside, fibre still to be washed."""

import pytest

from doffer.pictures.bench import say_grams, say_litres, say_weighed_when
from doffer.pictures.doses import say_dose
from doffer.planning.order_plan import DosePlan
from doffer.working import Term


def plain(words: str) -> str:
    return words.replace("\u202f", " ")


def test_portions_are_whole_grams_with_ounces_beside_for_us_readers():
    assert plain(say_grams(1062.4)) == "1062 g"
    assert plain(say_grams(1062.4, "us")) == "1062 g (2 lb 5.5 oz)"
    assert plain(say_grams(388, "us")) == "388 g (13.7 oz)"


def test_baths_are_litres_with_gallons_beside_for_us_readers():
    assert plain(say_litres(142)) == "142 L"
    assert plain(say_litres(142, "us")) == "142 L (37.5 gal)"


@pytest.mark.parametrize(
    ("form", "meeting", "said"),
    [
        ("greasy", "pick", "after washing, at the picker: 1062 g of clean dry fibre"),
        ("skirted", "card", "after washing, at the card: 1062 g of clean dry fibre"),
        ("scoured", "pick", ""),
    ],
)
def test_a_line_of_fibre_in_the_grease_says_that_it_is_washed_first(form, meeting, said):
    assert plain(say_weighed_when(form, 1062.3, meeting)) == said


def test_a_dose_is_weighed_on_a_gram_scale_whatever_units_are_read():
    figures = (Term("product", 68, "g"), Term("litres", 20.0, "l"), Term("heat", 60, "c"))
    dose = DosePlan("soap", "68 g in 20 L at 60 °C", said="{0} in {1} at {2}", figures=figures)
    assert plain(say_dose(dose, "us")) == "68 g (2.4 oz) in 20 L (5.3 gal) at 140 °F"
    assert say_dose(dose) == "68 g in 20 L at 60 °C"
