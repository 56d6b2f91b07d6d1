"""A count in any system on the pages: its conversions below the field, its plies, and its questions."""

import re
import uuid

import pytest

from doffer.mill.queries.orders import one_order

THIN = "\u202f"
FARMER = {
    "owner": "Moonbucket",
    "speak": "metric",
    "fibre": "huacaya",
    "mass": "2,70",
    "form": "skirted",
    "product": "yarn",
    "plies": "3",
    "thick": "2/8 Nm",
    "piece": "100 g",
    "date_kind": "soft",
}


def words(answer) -> str:
    return answer.content.decode().replace(THIN, " ")


def below(client, asked_by="thick", **typed) -> str:
    return words(client.get("/counts/", {"field": "thick", **typed}, headers={"HX-Trigger": asked_by}))


def plies_in(text: str) -> str:
    return re.search(r'name="plies" type="text" value="(\d*)"', text)[1]


def test_a_count_is_said_in_the_other_systems(client, demo_mill):
    text = below(client, thick="2/8 Nm", plies="2", speak="metric")
    said = "2 strands of Nm 8: together 250 tex, Nm 4, 400 m in 100 g, 1984 yd/lb; before washing."
    assert said in text
    assert "Class 1, Super Fine; also sold as fingering." in text
    assert "hx-swap-oob" not in text


@pytest.mark.parametrize(("speak", "length"), [("metric", "400 m/100 g"), ("us", "1984 yd/lb")])
def test_a_count_of_strands_says_what_the_finished_yarn_is_planned_as(client, demo_mill, speak, length):
    assert f"Planned as {length} of the finished yarn." in below(client, thick="2/8 Nm", speak=speak)
    assert "Planned as" not in below(client, thick="400 m/100 g", speak=speak)


def test_a_count_with_its_plies_fills_the_field_of_plies(client, demo_mill):
    text = below(client, thick="3/12 Nm", plies="2")
    assert 'hx-swap-oob="innerHTML:#plies-field"' in text
    assert plies_in(text) == "3"
    assert "Plies: 3, as the count says." in text
    assert "do not hold" not in text


def test_plies_are_not_changed_under_the_hand_that_types_them(client, demo_mill):
    text = below(client, asked_by="thick-said", thick="2/8 Nm", plies="3")
    assert "hx-swap-oob" not in text
    assert "This count says 2 plies itself, so the 3 in the field of plies do not hold." in text


def test_a_form_without_plies_is_not_given_any(client, demo_mill):
    assert "hx-swap-oob" not in below(client, thick="2/8 Nm")


def test_the_strands_beside_it_are_said_one_by_one(client, demo_mill):
    assert "each of 2 strands 250 tex, Nm 4." in below(client, thick="200 m/100 g", plies="2", product="yarn")
    assert "each of" not in below(client, thick="200 m/100 g", plies="2", product="singles")


@pytest.mark.parametrize(
    ("speak", "said"), [("metric", "250 m in 100 g: 400 tex"), ("us", "250 yd/lb: 1984 tex")]
)
def test_a_bare_figure_is_in_the_units_they_speak(client, demo_mill, speak, said):
    assert said in below(client, thick="250", speak=speak)


def test_a_bare_figure_of_roving_is_grams_in_a_metre(client, demo_mill):
    text = words(client.get("/counts/", {"field": "roving", "roving": "3,5"}))
    assert "3.50 g/m: 3.50 ktex, 49.4 grains/yd, 28.6 m in 100 g." in text
    assert "Class" not in text


def test_two_meanings_are_asked_below_the_field(client, demo_mill):
    text = below(client, thick="2/8")
    assert 'id="thick-error"' in text
    assert "2/8 Nm is 250 tex, 2/8s worsted is 221 tex, and in cotton 8/2 Ne is 148 tex." in text
    assert "count-words" not in text


@pytest.mark.parametrize("asked", [{}, {"field": "thick"}, {"field": '"><b>', "thick": ""}])
def test_nothing_typed_is_nothing_said(client, demo_mill, asked):
    answer = client.get("/counts/", asked)
    assert answer.status_code == 200
    assert words(answer).strip() == ""


def test_what_is_typed_is_never_taken_for_a_page(client, demo_mill):
    text = below(client, thick="<b>2/8</b>")
    assert "&lt;b&gt;2/8" in text
    assert "<b>" not in text


def test_the_conversions_are_only_looked_at(client, demo_mill):
    assert client.post("/counts/", {"thick": "2/8 Nm"}).status_code == 405


def test_the_form_shows_the_conversions_without_scripts(client, demo_mill):
    text = words(client.post("/orders/new/", {**FARMER, "act": "work"}))
    assert "2 strands of Nm 8: together 250 tex" in text
    assert plies_in(text) == "2"
    field = re.search(r'<input[^>]*id="thick"[^>]*>', text)[0]
    assert 'aria-describedby="thick-hint thick-said"' in field
    assert "aria-invalid" not in field
    assert re.search(r'id="thick-said" aria-live="polite"', text)


def test_a_question_stands_in_the_form_beside_its_field(client, demo_mill):
    answer = client.post("/orders/new/", {**FARMER, "thick": "64s", "act": "work"})
    assert answer.status_code == 422
    text = words(answer)
    assert "64s is a grade of wool" in text
    assert 'aria-invalid="true"' in re.search(r'<input[^>]*id="thick"[^>]*>', text)[0]
    assert 'href="#thick"' in text


def test_an_order_by_count_and_plies_is_planned_as_the_yarn_it_makes(client, demo_mill):
    sent = {**FARMER, "act": "take", "key": str(uuid.uuid4())}
    answer = client.post("/orders/new/", sent)
    assert answer.status_code == 302
    code = answer["Location"].strip("/").split("/")[-1]
    wish = one_order(code).spec["announced"][0]["wish"]
    assert (wish["product"], wish["plies"]) == ("yarn", 2)
    assert wish["length_m_per_100g"] == pytest.approx(400)
    page = words(client.get(f"/orders/{code}/wish/"))
    assert 'value="400 m/100 g"' in page
    assert "400 m in 100 g: 250 tex, Nm 4, 1984 yd/lb; each of 2 strands 125 tex, Nm 8." in page


@pytest.mark.parametrize(
    ("product", "thick", "sentence"),
    [
        ("singles", "2/8 Nm", "“2/8 Nm” has 2 strands: choose Plied yarn above."),
        ("yarn", "1/8 Nm", "“1/8 Nm” is a single strand: choose Singles above, or say its plies."),
    ],
)
def test_strands_that_do_not_fit_the_product_are_asked_about(client, demo_mill, product, thick, sentence):
    assert sentence in words(
        client.post("/orders/new/answer/", {**FARMER, "product": product, "thick": thick})
    )


def test_singles_by_their_count_are_planned(client, demo_mill):
    text = words(client.post("/orders/new/answer/", {**FARMER, "product": "singles", "thick": "Nm 2"}))
    assert "Singles yarn, 200 m/100 g" in text
