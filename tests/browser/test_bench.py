"""The bench at a desk: no word of a choice is cut off, and the answer lies open as far as it goes."""

ASKED = "/bench/?lot=L027&lot=L028&shade=S001"
# widest choice of a select and its arrow, against the room there is
TEXT_IS_CUT = """select => {
  const style = getComputedStyle(select), pen = document.createElement('canvas').getContext('2d');
  pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
  const widest = Math.max(...[...select.options].map(one => pen.measureText(one.text).width));
  const padding = parseFloat(style.paddingLeft) + parseFloat(style.paddingRight);
  return widest + padding > select.clientWidth;
}"""


def test_no_word_of_how_blends_are_reckoned_is_cut_off_at_a_desk(page_at, live):
    page = page_at(1440, 900)
    page.goto(live + ASKED)
    page.evaluate("document.querySelector('details.more-aim').open = true")
    model = page.locator("#model")
    model.wait_for(state="visible")
    assert not model.evaluate(TEXT_IS_CUT)


def test_the_answer_has_no_scroll_of_its_own(page_at, live):
    page = page_at(1440, 900)
    page.goto(live + ASKED)
    side = page.locator(".bench-side")
    assert side.evaluate("side => side.scrollHeight <= side.clientHeight + 1")
