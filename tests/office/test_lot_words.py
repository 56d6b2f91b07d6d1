"""What is written about a lot is put right; its weights and everything else stay."""

from tests.office.page_words import words

from doffer.mill.queries.lots import one_lot

WAY = "/lots/L002/words/"


def form(client, **changed: str) -> dict[str, str]:
    known = {
        "fibre": "Shetland", "animal": "", "colour_name": "grey", "micron": "", "micron_sd": "", "staple": "",
        "micron_source": "", "soundness": "unknown", "vm_grade": "", "second_cuts": "", "note": "",
    }  # fmt: skip
    return {**known, **changed}


def test_the_form_opens_with_what_is_known(client, demo_mill):
    text = client.get("/lots/L007/words/").content.decode()
    for known in ("Shetland", "grey katmoget", "24.4", "80"):
        assert f'value="{known}"' in text
    assert 'value="lab" selected' in text
    assert 'value="parent" selected' in client.get("/lots/L027/words/").content.decode()
    assert client.get("/lots/L020/words/").status_code == 200, "a breed nobody knows is still opened"


def test_fineness_and_grade_are_put_right_and_the_weights_stay(client_of, small_mill):
    client = client_of(small_mill.office)
    before = one_lot("L002")
    fine = {"micron": "24,6", "micron_sd": "6", "micron_source": "lab", "staple": "3.5 in"}
    typed = form(client, **fine, soundness="tender", vm_grade="2", colour="silver", want_waste_back="yes")
    for _ in range(2):
        assert client.post(WAY, typed).url == "/lots/L002/"
    after = one_lot("L002")
    assert (after.diameter_um, after.diameter_sd_um, after.diameter_source) == (24.6, 6.0, "lab")
    assert (after.staple_mm, after.row.soundness, after.vm_grade, after.second_cuts) == (
        89,
        "tender",
        2,
        None,
    )
    assert after.row.lab == (70.0, 0.3, 6.0)
    assert after.want_waste_back is True
    assert (after.weighings, after.row.mass_g, after.row.breed) == (before.weighings, 3000.0, "shetland")


def test_a_wrong_breed_is_put_right(client_of, small_mill):
    client = client_of(small_mill.office)
    client.post(WAY, form(client, fibre="kid mohair"))
    lot = one_lot("L002")
    assert (lot.row.fibre, lot.breed_typed) == ("mohair", "kid mohair")
    assert lot.row.lab == (58, 1, 7), "the picture keeps its colour until another one is pointed at"


def test_what_cannot_be_is_said_beside_its_field_and_nothing_changes(client_of, small_mill):
    client = client_of(small_mill.office)
    answer = client.post(WAY, form(client, fibre="granite", micron="900", vm_grade="7"))
    text = answer.content.decode()
    assert answer.status_code == 422
    for field in ("fibre-error", "micron-error", "vm_grade-error"):
        assert f'id="{field}"' in text
    assert 'value="granite"' in text
    assert one_lot("L002").row.fibre == "wool"


def test_the_floor_looks_and_does_not_change(client_of, small_mill):
    floor = client_of(small_mill.floor)
    assert "Keep it" not in words(floor.get(WAY))
    assert floor.post(WAY, form(floor, micron="20")).status_code == 422
    assert one_lot("L002").diameter_um is None
    assert floor.get("/lots/L999/words/").status_code == 404
