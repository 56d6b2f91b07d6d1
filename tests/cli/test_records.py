"""Verbs that open a mill: begin it, put own figures over tables, copy it, put it back, work."""

import json
import os
import subprocess
import sys

INIT = ("init", "--name", "Barrow Lane Mill", "--units", "metric", "--rules", "UK", "--you", "Ida")


def test_five_answers_begin_a_mill(mill):
    card = json.loads((mill / "mill.json").read_text(encoding="utf-8"))
    assert card == {"name": "Barrow Lane Mill", "kind": "own"}
    assert (mill / "doffer.sqlite3").exists()


def test_a_mill_is_begun_once(doffer, mill):
    answer = doffer(*INIT)
    assert answer.code == 1
    assert "Barrow Lane Mill” already exists" in answer.err


def test_a_missing_answer_is_asked_for_and_nothing_is_made(doffer, root):
    answer = doffer("init", "--name", "Barrow Lane Mill")
    assert answer.code == 1
    assert "your name is missing" in answer.err
    assert not (root / "mill").exists()


def test_an_unknown_machine_is_refused_before_anything_is_made(doffer, root):
    answer = doffer(*INIT, "--machine", "time machine")
    assert answer.code == 1
    assert "machines is “time machine”" in answer.err
    assert not (root / "mill").exists()


def test_an_own_figure_stands_over_the_shipped_one_until_it_is_withdrawn(doffer, mill):
    cell = ("stage_losses", "card/wool", "dry_loss_mode_pct")
    shipped = doffer("table", "show", *cell[:2], "--json").json
    own = doffer("table", "set", *cell, "6.5", "--reason", "ten runs", "--json").json
    assert (own["dry_loss_mode_pct"], own["status"]) == (6.5, "own")
    assert own["shipped"]["dry_loss_mode_pct"] == shipped["dry_loss_mode_pct"]
    back = doffer("table", "withdraw", *cell, "--json").json
    assert back["dry_loss_mode_pct"] == shipped["dry_loss_mode_pct"]


def test_an_own_figure_out_of_range_is_refused(doffer, mill):
    answer = doffer("table", "set", "stage_losses", "card/wool", "dry_loss_mode_pct", "650")
    assert answer.code == 1
    assert "expected a number from" in answer.err


def test_a_mill_is_copied_changed_and_put_back(doffer, mill):
    made = doffer("backup", "--json").json["backup"]
    doffer("table", "set", "stage_losses", "card/wool", "dry_loss_mode_pct", "6.5")
    listed = doffer("backup", "--list", "--json").json
    name = made["path"].rpartition("/")[2]
    assert [copy["name"] for copy in listed] == [name]
    assert doffer("restore", name).code == 0
    row = doffer("table", "show", "stage_losses", "card/wool", "--json").json
    assert row["status"] != "own"


def test_a_copy_that_is_not_there_is_said(doffer, mill):
    answer = doffer("restore", "20200101-0000")
    assert answer.code == 1
    assert "There is no backup" in answer.err


def test_without_a_mill_the_way_to_one_is_said(doffer):
    answer = doffer("backup")
    assert answer.code == 1
    assert "doffer init" in answer.err


def test_the_worker_works_off_what_waits_and_stops(doffer, mill):
    assert doffer("worker", "--once").code == 0


def test_before_an_update_of_the_records_a_copy_is_made(doffer, mill, root):
    back = (
        "from pathlib import Path; from doffer.serve.startup import open_mill; import sys;"
        "open_mill(Path(sys.argv[1]), 'commands');"
        "from django.core.management import call_command;"
        "call_command('migrate', 'sessions', 'zero', verbosity=0)"
    )
    env = {**os.environ, "DOFFER_ROOT": str(root)}
    subprocess.run([sys.executable, "-c", back, str(mill)], env=env, check=True)
    assert doffer("backup", "--list", "--json").json == []
    assert doffer("table", "list").code == 0
    assert len(doffer("backup", "--list", "--json").json) == 1
