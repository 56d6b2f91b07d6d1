import re
from types import SimpleNamespace

from doffer.working import Status


def test_a_field_ties_label_hint_error_and_unit_together(render):
    drawn = render(
        "{{ forms.number('gross', 'On the scale', '295', unit='kg', hint='bag and all', error='Too much.') }}"
    )
    assert '<label for="gross">On the scale</label>' in drawn
    assert 'value="295"' in drawn
    assert 'inputmode="decimal"' in drawn
    assert 'aria-describedby="gross-hint gross-error" aria-invalid="true"' in drawn
    assert '<p class="field-hint" id="gross-hint">bag and all</p>' in drawn
    assert 'id="gross-error"' in drawn
    assert '<span class="unit">kg</span>' in drawn
    assert " required" in drawn


def test_a_field_that_may_stay_empty_says_so(render):
    drawn = render("{{ forms.text('note', 'Note', none, required=false) }}")
    assert "(if known)" in drawn
    assert 'value=""' in drawn
    assert " required" not in drawn


def test_pounds_and_ounces_are_typed_with_letters(render):
    assert 'inputmode="text"' in render("{{ forms.number('w', 'Weight', unit='lb, oz') }}")


def test_a_choice_keeps_what_was_chosen(render):
    options = (("C01", "Moonbucket"), ("C02", "Gribble End"))
    drawn = render("{{ forms.select('owner', 'Owner', options, 'C02', empty='Choose') }}", options=options)
    assert re.findall(r'<option value="(\w*)"( selected)?>', drawn) == [
        ("", ""),
        ("C01", ""),
        ("C02", " selected"),
    ]
    cards = render("{{ forms.radio_cards('f', 'Fibre', options, 'C01') }}", options=options)
    assert re.findall(r'value="(\w+)"( checked)?', cards) == [("C01", " checked"), ("C02", "")]
    assert "<fieldset" in cards
    assert "<legend>Fibre</legend>" in cards


def test_radio_cards_point_at_their_error(render):
    drawn = render("{{ forms.radio_cards('f', 'Fibre', (('a', 'A'),), error='Choose one.') }}")
    assert re.search(r'<fieldset class="field" aria-describedby="f-error">', drawn)
    assert drawn.count('id="f-error"') == 1


def test_a_form_carries_its_token_and_a_busy_word(render):
    drawn = render(
        "{% call forms.form('/lots/') %}{{ forms.submit('Save') }}{% endcall %}",
        csrf_input="TOKEN",
    )
    assert 'action="/lots/"' in drawn
    assert "TOKEN" in drawn
    assert '<span class="idle-words">Save</span>' in drawn
    assert '<span class="busy-words" aria-live="polite">Writing it down …</span>' in drawn


def test_a_search_form_carries_no_token(render):
    assert "TOKEN" not in render("{% call forms.form('/lots/', 'get') %}{% endcall %}", csrf_input="TOKEN")


def test_the_error_summary_links_to_the_fields(render):
    drawn = render(
        "{{ forms.error_summary(errors) }}", errors={"gross": "Too much.", "__all__": "Nobody is chosen."}
    )
    assert '<a href="#gross">Too much.</a>' in drawn
    assert "<li>Nobody is chosen.</li>" in drawn
    assert 'role="alert"' in drawn
    assert render("{{ forms.error_summary({}) }}") == ""


def test_a_working_shows_formula_inputs_result_and_on_whose_word(render, sample):
    drawn = render("{{ workings.show(w) }}", w=sample.WORKING)
    assert "<summary>" in drawn
    assert "oven-dry fibre left after the last stage x (1 + agreed regain)" in drawn
    assert re.search(r"<dt>agreed regain<small>woollen carded yarn</small></dt><dd>17 %</dd>", drawn)
    assert '<dd class="result">3.24 kg</dd>' in drawn
    assert "published" in drawn
    assert "Regulation (EU) 1007/2011, Annex IX" in drawn


def test_parts_of_a_working_open_inside_it(render, sample):
    drawn = render("{{ workings.show(w) }}", w=sample.WORKING)
    assert drawn.count("<details") == 4
    assert "from memory, unverified" in drawn
    assert "the mill&#39;s own figure" in drawn


def test_every_status_has_a_look(render, sample):
    from dataclasses import replace

    for status in Status:
        drawn = render("{{ workings.body(w) }}", w=replace(sample.WORKING, status=status, parts=()))
        assert f"status-{status.value}" in drawn


def test_a_figure_has_its_range_and_its_working(render, sample):
    drawn = render(
        "{{ figure.figure('Yarn', 3240, 'g', low=2800, high=3600, working=w, large=true) }}", w=sample.WORKING
    )
    assert "3.24 kg" in drawn
    assert "9 times in 10: 2.80 to 3.60 kg" in drawn
    assert "figure-large" in drawn
    assert "<details" in drawn


def test_a_spread_is_a_figure(render):
    spread = SimpleNamespace(mean=3240, low=2800, high=3600)
    assert "2.80 to 3.60 kg" in render("{{ figure.spread('Yarn', s, 'g') }}", s=spread)


def test_a_range_may_begin_at_nothing(render):
    assert "9 times in 10: 0.00 to 1.20 kg" in render(
        "{{ figure.figure('Waste', 600, 'g', low=0, high=1200) }}"
    )


def test_a_table_names_its_rows_and_its_cells(render):
    drawn = render(
        "{{ tables.table('Weights', (('Stage', ''), ('Weight', 'number')), "
        "(('wash', '4.0 kg'),), ('all', '4.0 kg')) }}"
    )
    assert "<caption>Weights</caption>" in drawn
    assert '<th scope="col" class="number">Weight</th>' in drawn
    assert '<th scope="row">wash</th>' in drawn
    assert '<td class="number" data-name="Weight">4.0 kg</td>' in drawn
    assert "<tfoot>" in drawn


def test_an_empty_place_says_what_to_do_next(render):
    drawn = render("{{ notices.empty('No lot stands here.', 'Weigh a bag in', '/weigh-in/') }}")
    assert "No lot stands here." in drawn
    assert '<a class="button button-main" href="/weigh-in/">Weigh a bag in</a>' in drawn


def test_cautions_and_errors_are_told_apart_without_colour(render):
    caution, error = render("{{ notices.caution('Mind.') }}"), render("{{ notices.error('Wrong.') }}")
    assert caution.count("<svg") == error.count("<svg") == 1
    assert caution.split("<path")[1].split("/>")[0] != error.split("<path")[1].split("/>")[0]
    assert 'role="alert"' in error
    assert 'role="alert"' not in caution


def test_notices_take_longer_text_by_call(render):
    assert "<b>more</b>" in render("{% call notices.caution(title='Mind') %}<b>more</b>{% endcall %}")


def test_a_page_head_has_one_title_and_its_actions(render):
    drawn = render("{% call page.head('Lots', 'Forty lots.', 'Records', '/records/') %}ACT{% endcall %}")
    assert drawn.count("<h1>") == 1
    assert '<div class="actions">ACT</div>' in drawn
    assert '<a href="/records/">Records</a>' in drawn
    assert "actions" not in render("{{ page.head('Lots') }}")
