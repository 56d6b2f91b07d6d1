"""Ten years of an invented mill's records, put straight into a fresh database."""

from __future__ import annotations

import random
import uuid
from datetime import timedelta

from django.db import connection, transaction

from doffer.mill import bridge, chain, clock
from doffer.mill.models import Customer, Lot, Order, Weighing
from doffer.people.models import Person

FIBRES = ("wool", "alpaca", "mohair", "llama", "suri")
PLACES = ("door", "wash", "dry", "pick", "rest", "card", "draw", "spin", "ply", "set", "skein", "box")
STANDING = 150  # lots in the mill on any morning; all others have long gone home
BATCH = 5000


def fill(*, n_lots: int, n_weighings: int, seed: int = 1) -> list[str]:
    """Write the records; the codes of the lots."""
    rng = random.Random(seed)
    person = Person.objects.create(code="P1", name="Wrenna", role="owner")
    owners = _owners(person)
    now = clock.now()
    Lot.objects.bulk_create(
        [_lot(i, n_lots, owners, person, now, rng) for i in range(n_lots)], batch_size=BATCH
    )
    lots = list(Lot.objects.order_by("pk").values_list("pk", "code"))
    _weighings([pk for pk, _ in lots], n_weighings, person, now, rng)
    _orders(n_lots // 10, owners, person, now, rng)
    return [code for _, code in lots]


def _owners(person: Person) -> list[Customer]:
    now = clock.now()
    names = [f"Farm {i}" for i in range(400)]
    return [
        Customer.objects.create(code=f"C{i:03d}", name=name, created_at=now, created_by=person)
        for i, name in enumerate(names)
    ]


def _lot(i: int, n_lots: int, owners: list[Customer], person: Person, now, rng: random.Random) -> Lot:
    is_standing = i >= n_lots - STANDING
    mass_mg = rng.randint(900_000, 9_000_000) if is_standing else 0
    return Lot(
        code=f"L{i + 1:05d}",
        customer=rng.choice(owners),
        received_on=(now - timedelta(days=3650 * (1 - i / n_lots))).date(),
        fibre=rng.choice(FIBRES),
        colour_name="white",
        lab_l_centi=rng.randint(2000, 9000),
        lab_a_centi=200,
        lab_b_centi=1100,
        diameter_nm=24_000,
        diameter_sd_nm=5_500,
        place=rng.choice(PLACES) if is_standing else "box",
        now_form="scoured",
        now_mass_mg=mass_mg,
        now_dry_mg=round(mass_mg / 1.16),
        now_regain_ppm=160_000,
        now_weighed_at=now,
        created_at=now,
        created_by=person,
        archived_at=None if is_standing else now,
    )


def _weighings(lot_ids: list[int], n_weighings: int, person: Person, now, rng: random.Random) -> None:
    """Weighings in the order of time, sealed one after the other as the commands would."""
    columns = (*chain.SEALED, "prev_hash", "hash")
    names = ", ".join(f'"{name}"' for name in columns)
    marks = ", ".join(["%s"] * len(columns))
    insert = f'INSERT INTO "{Weighing._meta.db_table}" ({names}) VALUES ({marks})'
    tables_sha256 = bridge.current_tables().sha256
    before = chain.FIRST_PREV_HASH
    as_sql = connection.ops.adapt_datetimefield_value
    as_uuid = str if connection.features.has_native_uuid_field else lambda key: key.hex
    with transaction.atomic(), connection.cursor() as cursor:
        rows = []
        for i in range(n_weighings):
            gross_mg = rng.randint(1_000_000, 9_000_000)
            at = now - timedelta(days=3650 * (1 - i / n_weighings))
            values = dict.fromkeys(chain.SEALED) | {
                "key": uuid.UUID(int=rng.getrandbits(128)),
                "body_sha256": "",
                "lot_id": lot_ids[i % len(lot_ids)],
                "moment": "stock",
                "form": "scoured",
                "gross_mg": gross_mg,
                "tare_mg": 0,
                "rh_ppm": 600_000,
                "branch": "desorption",
                "finish_mg": 0,
                "actual_regain_ppm": 160_000,
                "dry_mg": round(gross_mg / 1.16),
                "tables_sha256": tables_sha256,
                "source": "typed",
                "weighed_at": at,
                "recorded_at": at,
                "person_id": person.pk,
                "note": "",
            }
            seal = chain.seal(before, values)
            row = values | {"prev_hash": before, "hash": seal, "key": as_uuid(values["key"])}
            rows.append([as_sql(v) if hasattr(v, "hour") else v for v in (row[name] for name in columns)])
            before = seal
            if len(rows) == BATCH or i == n_weighings - 1:
                cursor.executemany(insert, rows)
                rows = []


def _orders(n_orders: int, owners: list[Customer], person: Person, now, rng: random.Random) -> None:
    Order.objects.bulk_create(
        [
            Order(
                code=f"O{i + 1:05d}",
                customer=rng.choice(owners),
                booked_on=(now - timedelta(days=3650 * (1 - i / n_orders))).date(),
                promised_on=(now + timedelta(days=rng.randint(-3, 60))).date(),
                product="2-ply yarn",
                state="running" if i >= n_orders - 60 else "shipped",
                taken_at=now,
                taken_by=person,
            )
            for i in range(n_orders)
        ],
        batch_size=BATCH,
    )
