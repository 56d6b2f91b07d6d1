"""Owners, machines, people, settings, safety copies: each for those who may, and only once."""

import uuid

import pytest
from tests.office.page_words import words

from doffer.mill.commands.jobs import ask_for_job
from doffer.mill.queries import customers, house
from doffer.office.records import _copies

PAGES = (
    "/records/",
    "/records/settings/",
    "/records/people/",
    "/records/backups/",
    "/records/machines/",
    "/records/machines/new/?kind=card",
    "/records/owners/",
    "/records/owners/new/",
    "/records/owners/C02/",
    "/records/tables/",
    "/records/import/",
)


@pytest.mark.parametrize("way", PAGES)
def test_everybody_may_look_and_who_only_looks_finds_no_button_that_writes(client_of, small_mill, way):
    assert client_of(small_mill.owner).get(way).status_code == 200
    text = client_of(small_mill.viewer).get(way).content.decode()
    main = text[text.index("<main") : text.index("</main")]
    assert 'type="submit"' not in main.replace('method="get"', "") or 'method="post"' not in main


@pytest.mark.parametrize("way", PAGES)
def test_pages_ask_the_database_a_fixed_number_of_times(
    client_of, small_mill, way, django_assert_max_num_queries
):
    client = client_of(small_mill.owner)
    client.get(way)
    with django_assert_max_num_queries(18):
        client.get(way)


def settings_form(client, **changed) -> dict[str, str]:
    """The form as the page shows it, with some fields changed."""
    page = client.get("/records/settings/")
    fields = {field.key: field.value for _, group in page.context["groups"] for field in group}
    return {**fields, **changed}


def setting(key: str) -> str:
    return next(row.value for row in house.settings() if row.key == key)


@pytest.fixture
def jinja_context(monkeypatch):
    """Let the test client see what a page was rendered with; Jinja's templates do not tell it."""
    from django.template.backends import jinja2
    from django.test.signals import template_rendered

    render = jinja2.Template.render

    def telling(self, context=None, request=None):
        template_rendered.send(sender=self, template=self, context=context or {})
        return render(self, context, request)

    monkeypatch.setattr(jinja2.Template, "render", telling)


def test_settings_are_typed_as_people_say_them_and_kept_as_figures(client_of, small_mill, jinja_context):
    client = client_of(small_mill.office)
    form = settings_form(
        client, tax_rate_frac="7,5 %", least_billed_g="3 lb", storage_fee_cents="4.50", altitude_m="-12"
    )
    assert client.post("/records/settings/", form).url == "/records/settings/"
    assert setting("tax_rate_frac") == "0.075"
    assert float(setting("least_billed_g")) == pytest.approx(1360.777)
    assert (setting("storage_fee_cents"), setting("altitude_m")) == ("450", "-12")
    assert setting("deposit_frac") == "0.30", "what was not changed keeps its default"


def test_one_wrong_setting_keeps_them_all_as_they_were(client_of, small_mill, jinja_context):
    client = client_of(small_mill.office)
    answer = client.post(
        "/records/settings/", settings_form(client, currency="GBP", near_days="soon", tax_rate_frac="140")
    )
    text = answer.content.decode()
    assert answer.status_code == 422
    assert 'value="soon"' in text
    assert 'aria-describedby="near_days-hint near_days-error"' in text
    assert setting("currency") == "EUR"


def test_the_floor_does_not_change_settings(client_of, small_mill, jinja_context):
    client = client_of(small_mill.floor)
    answer = client.post("/records/settings/", settings_form(client, currency="GBP"))
    assert answer.status_code == 422
    assert "Flo may not change the mill's settings" in words(answer)
    assert setting("currency") == "EUR"


def test_a_person_is_written_down_once_and_may_leave_again(client_of, small_mill, key):
    client = client_of(small_mill.owner)
    form = {"name": "Nell", "role": "floor", "duties": "scouring", "key": key}
    for _ in range(2):
        assert client.post("/records/people/", form).url == "/records/people/"
    (nell,) = [row for row in house.people() if row.name == "Nell"]
    assert client.post(f"/records/people/{nell.code}/leaves/").status_code == 302
    assert "Nell" not in words(client.get("/records/people/"))


def test_a_person_without_name_is_asked_for_and_the_rest_stays_typed(client_of, small_mill, key):
    answer = client_of(small_mill.owner).post(
        "/records/people/", {"name": "", "role": "office", "days": "Tue", "key": key}
    )
    assert answer.status_code == 422
    assert 'value="Tue"' in answer.content.decode()
    assert 'value="office" checked' in answer.content.decode()


def test_the_last_owner_cannot_leave_and_the_office_sends_nobody_away(client_of, small_mill):
    owner, office = client_of(small_mill.owner), client_of(small_mill.office)
    assert owner.post(f"/records/people/{small_mill.owner.code}/leaves/").status_code == 400
    assert office.post(f"/records/people/{small_mill.floor.code}/leaves/").status_code == 422
    assert len(house.people()) == 4


def test_a_machine_comes_with_the_figures_of_its_kind_and_once(client_of, small_mill, key):
    client = client_of(small_mill.office)
    shown = client.get("/records/machines/new/?kind=pin_drafter").content.decode()
    assert 'value="pin drafter"' in shown
    rates = {"rate_wool_kg_per_h": "5", "rate_camelid_kg_per_h": "4", "rate_angora_kg_per_h": "3"}
    form = {"name": "old drafter", "stage": "draw", "holdup": "15", "setup_min": "10", **rates, "key": key}
    for _ in range(2):
        assert client.post("/records/machines/new/?kind=pin_drafter", form).url == "/records/machines/"
    (drafter,) = [row for row in house.machines() if row.name == "old drafter"]
    assert (drafter.holdup_g, drafter.rate_wool_kg_per_h, drafter.kind) == (15, 5, "pin_drafter")


def machine_form(row: house.MachineRow, **changed: str) -> dict[str, str]:
    """The form of a machine as its page shows it, with some fields changed."""
    same = ("name", "stage", "note", "capacity_unit")
    figures = [name for name in row.__slots__ if name.startswith(("rate_", "clean_", "setup_", "capacity"))]
    form = {
        name: f"{getattr(row, name):g}" for name in figures if isinstance(getattr(row, name), int | float)
    }
    form |= {name: getattr(row, name) for name in same}
    return {**form, "holdup": f"{row.holdup_g:g}", "key": str(uuid.uuid4()), **changed}


def the_card() -> house.MachineRow:
    return next(row for row in house.machines() if row.stage == "card")


def test_a_hold_up_put_in_becomes_the_mills_own_figure_and_the_rest_stays(client_of, small_mill):
    before = the_card()
    assert before.status == "practice"
    way = f"/records/machines/{before.code}/"
    client = client_of(small_mill.office)
    client.post(way, machine_form(before))
    assert the_card() == before, "nothing typed, nothing changed"
    client.post(way, machine_form(before, holdup="85"))
    after = the_card()
    assert (after.holdup_g, after.status) == (85, "own")
    assert after.rate_camelid_kg_per_h == before.rate_camelid_kg_per_h


def test_a_machine_figure_that_cannot_be_is_said_beside_its_field(client_of, small_mill):
    before = the_card()
    answer = client_of(small_mill.office).post(
        f"/records/machines/{before.code}/", machine_form(before, holdup="much", setup_min="9999", name="")
    )
    text = answer.content.decode()
    assert answer.status_code == 422
    for field in ("holdup-error", "setup_min-error", "name-error"):
        assert f'id="{field}"' in text
    assert 'value="much"' in text
    assert the_card() == before


def test_machines_are_the_offices_affair(client_of, small_mill):
    before = the_card()
    client = client_of(small_mill.floor)
    assert (
        client.post(f"/records/machines/{before.code}/", machine_form(before, holdup="85")).status_code == 422
    )
    assert client.post(f"/records/machines/{before.code}/gone/").status_code == 422
    assert the_card() == before
    assert client.get("/records/machines/XYZ/").status_code == 404


def test_an_owner_is_written_down_once_and_speaks_units_of_its_own(client_of, small_mill, key):
    client = client_of(small_mill.office)
    form = {"name": "Pebble Lane", "units": "us", "country_rules": "US", "key": key}
    ways = [client.post("/records/owners/new/", form).url for _ in range(2)]
    assert ways[0] == ways[1]
    code = ways[0].rstrip("/").rpartition("/")[2]
    assert customers.one_customer(code).row.units == "us"
    client.post(ways[0], {"name": "Pebble Lane Farm", "phone": "12", "units": "us", "country_rules": "US"})
    changed = customers.one_customer(code)
    assert (changed.row.name, changed.phone) == ("Pebble Lane Farm", "12")


def test_an_owner_without_name_is_refused_and_what_was_typed_stays(client_of, small_mill, key):
    form = {"name": "", "units": "metric", "country_rules": "EU", "remark": "by the ford", "key": key}
    answer = client_of(small_mill.office).post("/records/owners/new/", form)
    assert answer.status_code == 422
    assert 'value="by the ford"' in answer.content.decode()
    assert "name of the owner is missing" in words(answer)


def test_owners_are_found_by_what_somebody_types(client, small_mill):
    text = words(client.get("/records/owners/?search=alpacas"))
    assert "Fern Bank Alpacas" in text
    assert "Moss Edge Farm" not in text
    assert "Nobody fits these words" in words(client.get("/records/owners/?search=zebra"))


def test_the_page_of_an_owner_shows_lots_in_their_units(client, small_mill):
    text = words(client.get(f"/records/owners/{small_mill.fern}/"))
    assert "L003" in text
    assert "5 lb 15 oz" in text


def test_a_safety_copy_is_asked_for_once_while_it_waits(client_of, small_mill):
    client = client_of(small_mill.office)
    for _ in range(2):
        assert client.post("/records/backups/", {"kind": "backup"}).url == "/records/backups/"
    (job,) = house.jobs()
    assert (job.kind, job.state) == ("backup", "queued")
    assert "Safety copy waiting" in words(client.get("/records/backups/"))
    assert client.post(f"/records/jobs/{job.id}/stop/").status_code == 302
    assert house.one_job(job.id).state == "cancelled"
    assert client.post("/records/backups/", {"kind": "sweep"}).status_code == 400


def test_the_floor_asks_for_no_long_work(client_of, small_mill):
    assert client_of(small_mill.floor).post("/records/backups/", {"kind": "backup"}).status_code == 422
    job = ask_for_job(small_mill.office, "verify", {})
    assert client_of(small_mill.floor).post(f"/records/jobs/{job}/stop/").status_code == 422
    assert house.one_job(job).state == "queued"


def test_copies_are_listed_newest_first_and_notes_beside_them_are_not(tmp_path):
    for name in ("20260301-0900.sqlite3", "20260302-0900.sqlite3", "20260302-0900.json", "note.txt"):
        (tmp_path / name).write_bytes(b"x" * 2_000_000)
    found = _copies(tmp_path)
    assert [copy.name for copy in found] == ["20260302-0900.sqlite3", "20260301-0900.sqlite3"]
    assert found[0].size_mb == 2
    assert _copies(tmp_path / "nowhere") == []
