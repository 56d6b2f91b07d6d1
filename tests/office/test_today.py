"""Today: the sentences, the strand, the worry list, the first day, tags."""

import pytest
from tests.office.page_words import words

from doffer.mill.commands.holds import open_hold
from doffer.mill.queries import today as query
from doffer.mill.queries.lots import one_lot
from doffer.office import today_words

THIN = "\u202f"


def said(seen, units="metric") -> list[str]:
    return [
        today_words.plain(sentence).replace(THIN, " ") for sentence in today_words.morning(seen, units=units)
    ]


def test_the_demo_morning_begins_with_what_is_late_held_and_unpaid(demo_mill):
    assert said(query.today()) == [
        "One order is late: O205, 3-ply aran for Hobblestone Hill, since Friday.",
        "O202 is on a moth hold and is promised for Friday.",
        "Long Ladle Llamas has not paid: L023, 4.10 kg, waits on the dispatch shelf.",
    ]


def test_the_worry_list_of_the_demo_is_ordered_by_regret(demo_mill):
    worries = today_words.worries(query.today(), units="metric")
    found = [(worry.about.text, worry.tag) for worry in worries]
    wanted = [
        ("O205", "late"),
        ("L007", "moth"),
        ("O202", "moth"),
        ("C10", "unpaid"),
        ("O206", "hard date"),
        ("L003", "rest over"),
        ("L022", "under minimum"),
        ("L005", "tender"),
        ("L011", "cohesive"),
    ]
    assert [pair for pair in found if pair in wanted] == wanted
    late = next(worry for worry in worries if worry.tag == "late")
    assert "3 days late, since Friday" in late.what
    assert "show on 28 March" in next(worry for worry in worries if worry.tag == "hard date").what


def test_each_lot_of_concern_is_named_once_for_its_weight(demo_mill):
    worries = today_words.worries(query.today(), units="us")
    assert [w.tag for w in worries if w.about.text == "L022"] == ["under minimum"]
    small = next(w for w in worries if w.about.text == "L022").what.replace(THIN, " ")
    assert "3 lb 0 oz" in small
    assert "tender" in small


def test_nothing_held_is_offered_for_the_hands(demo_mill):
    tasks = today_words.next_tasks(query.today())
    assert [(task.verb, task.about.text) for task in tasks][:2] == [("Draw", "O205"), ("Draw", "O201")]
    assert "O202" not in {task.about.text for task in tasks}
    assert "O204" not in {task.about.text for task in tasks}, "it waits"


def test_a_quiet_morning_says_so(small_mill):
    assert said(query.today()) == [
        "No order is open.",
        "22.55 kg of fibre stand here in five lots; no orders are open.",
    ]


def test_a_hold_on_a_lot_without_an_order_is_still_a_worry(small_mill):
    open_hold(small_mill.floor, kind="moth", reason="larvae in the neck wool", lot="L001")
    (worry, *_) = today_words.worries(query.today(), units="metric")
    assert (worry.about, worry.what, worry.tag) == (
        today_words.lot_bit("L001"),
        "larvae in the neck wool",
        "moth",
    )


def test_the_page_shows_the_strand_twice_and_as_a_table(client, demo_mill):
    page = client.get("/")
    text = page.content.decode()
    assert page.status_code == 200
    assert text.count('aria-label="The mill as a line of places"') >= 1
    assert "The mill from door to box" in text
    assert 'href="/lots/L023/"' in text
    assert 'data-live="lot order run' in text
    assert "58.20 kg" in words(page)


def test_the_page_asks_the_database_a_fixed_number_of_times(client, demo_mill, django_assert_max_num_queries):
    client.get("/")
    with django_assert_max_num_queries(40):
        client.get("/")


def test_weights_are_said_in_the_units_of_the_device(client, demo_mill):
    assert client.post("/units", {"units": "us", "next": "/"}).url == "/"
    assert "9 lb 1 oz" in words(client.get("/"))
    assert client.post("/units", {"units": "stone"}).status_code == 400


def test_the_first_day_says_what_to_do_first(client, people):
    text = words(client.get("/"))
    assert "The first day of Thimble End Mill" in text
    assert "Weigh in the first bag" in text
    assert "/records/machines/" in client.get("/").content.decode()


def test_today_is_looked_at_and_not_written_to(client, people):
    assert client.post("/").status_code == 405


@pytest.mark.parametrize("change", [str, str.lower, lambda tag: tag.replace("0", "o")])
def test_a_scanned_tag_leads_to_its_lot(client, small_mill, change):
    tag = one_lot("L001").containers[0].tag
    answer = client.get(f"/t/{change(tag)}")
    assert (answer.status_code, answer.url) == (302, "/lots/L001/")


def test_a_misread_tag_is_answered_with_a_sentence(client, small_mill):
    answer = client.get("/t/7Q4K2X")
    assert answer.status_code == 400
    assert "one of them is wrong" in words(answer)
    tag = one_lot("L001").containers[0].tag
    assert client.get(f"/t/{tag}zz").status_code == 400


def test_a_tag_that_was_never_given_out_is_answered_with_a_sentence(client, people):
    from doffer.mill.tags import tag_of

    free = next(tag for tag in (tag_of(serial) for serial in range(900, 950)) if tag)
    answer = client.get(f"/t/{free}")
    assert answer.status_code == 404
    assert "There is no lot in a container with the tag" in words(answer)


def test_somebody_else_takes_over_the_device(client, people):
    assert "You: Ada" in words(client.get("/")).replace("  ", " ")
    assert client.post("/you", {"person": people.floor.code, "next": "/lots/"}).url == "/lots/"
    assert "You: Flo" in words(client.get("/"))
    assert client.post("/you", {"person": "P99"}).status_code == 404
    assert client.get("/you").status_code == 405


def test_no_menu_leads_to_another_host(client, people):
    for elsewhere in ("https://example.org/", "//example.org/", "lots/"):
        assert client.post("/person/", {"person": people.floor.code, "next": elsewhere}).url == "/"


def test_a_long_worry_list_shows_the_worst_and_counts_the_rest(client, small_mill):
    for number in range(20):
        open_hold(small_mill.floor, kind="waiting", reason=f"question {number}", lot="L001")
    text = words(client.get("/"))
    assert "Question 15." in text
    assert "Question 16." not in text
    assert "more things of less regret" in text
