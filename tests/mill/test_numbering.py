"""Numbers and the chain hold when several people write at once."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection

from doffer.mill.booking import Reading
from doffer.mill.commands.customers import add_customer
from doffer.mill.commands.intake import Bag, FibreFacts, weigh_in_bag
from doffer.mill.commands.weigh import record_weighing
from doffer.mill.models import Container, Counter, Lot, Weighing
from doffer.mill.numbering import next_code, note_code
from doffer.mill.queries.chain import verify_chain
from doffer.mill.write import write

WRITERS, TIMES = 4, 5


def in_threads(do):
    """Do something many times from several threads; gives all results."""

    def work(number):
        try:
            return [do(number, turn) for turn in range(TIMES)]
        finally:
            connection.close()

    with ThreadPoolExecutor(WRITERS) as pool:
        return [result for results in pool.map(work, range(WRITERS)) for result in results]


@pytest.mark.django_db(transaction=True)
def test_four_people_weighing_in_at_once_never_share_a_number_or_a_tag(small_mill):
    bag = Bag(customer=small_mill.moss, facts=FibreFacts(fibre="wool"), reading=Reading(gross_g=3000))
    done = in_threads(lambda _writer, _turn: weigh_in_bag(small_mill.floor, bag))
    assert sorted(item.lot for item in done) == [f"L{n:03d}" for n in range(6, 6 + WRITERS * TIMES)]
    assert len({item.tag for item in done}) == WRITERS * TIMES
    assert Lot.objects.count() == Container.objects.count() == 5 + WRITERS * TIMES


@pytest.mark.django_db(transaction=True)
def test_the_chain_does_not_fork_when_four_people_weigh_at_once(small_mill):
    in_threads(
        lambda writer, turn: record_weighing(
            small_mill.floor, lot=f"L00{writer + 1}", reading=Reading(gross_g=3000 + turn)
        )
    )
    verdict = verify_chain()
    assert verdict.is_whole
    assert verdict.n_checked == Weighing.objects.count() == 5 + WRITERS * TIMES


@pytest.mark.django_db
def test_a_number_from_outside_is_not_given_out_again(people):
    with write():
        note_code("L040")
        note_code("L007")
        note_code("bag from the barn")
        assert [next_code("L"), next_code("L")] == ["L041", "L042"]
        assert next_code("O") == "O001"
    assert Counter.objects.get(series="L").last == 42


@pytest.mark.django_db
def test_an_act_that_fails_gives_its_number_back(people):
    with pytest.raises(ZeroDivisionError), write():
        assert 1 / (next_code("O") == "")
    with write():
        assert next_code("O") == "O001"
    assert add_customer(people.office, name="Puddle Lane") == "C02"
