"""What stages lose: a share by fibre and fixed grams by machine, forward and backward.

``loss = a + b * fibre in`` (oven-dry): b is the share that falls out as short fibre, dust and fly and
differs by fibre; a is what the machine keeps of the blend as it stands (hold-up, bobbin ends). A share
alone would be right for one lot size only: 60 g stuck in a card is 0.6 % of 10 kg and 6 % of 1 kg. Common
practice, no source; shares in table stage_losses.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from doffer.errors import InputError
from doffer.fibre.arrays import Floats
from doffer.tables.loader import Tables
from doffer.tables.rows import StageLoss
from doffer.working import Status, Term, Working

LossFracs = Mapping[str, Floats]
"""Share lost [frac] by fibre key, each of shape (n,) or (1,)."""


@dataclass(frozen=True, slots=True)
class LossRange:
    """A triangular range of a loss share [frac], with where it comes from."""

    low_frac: float
    mode_frac: float
    high_frac: float
    source: str
    status: Status

    @property
    def mean_frac(self) -> float:
        """Mean of the triangle: a third of low + mode + high."""
        return (self.low_frac + self.mode_frac + self.high_frac) / 3


@dataclass(frozen=True, slots=True)
class Lost:
    """What stays, what falls out and what the machine holds of a mass; each (k, n) [g oven-dry]."""

    dry_mass_g: Floats
    lost_mass_g: Floats
    held_mass_g: Floats


def range_working(tables: Tables, *, stage: str, fibre: str) -> Working | None:
    """Where the share lost of one fibre comes from, or None where a stage loses none of it."""
    kind = tables.fibres[fibre]
    row = _row(tables, stage=stage, fibre=fibre)
    if row is None:
        return None
    span = loss_range(tables, stage=stage, fibre=fibre)
    return Working(
        title=f"Share of {kind.name} lost ({stage})",
        formula="(low + most likely + high) ÷ 3; a plan draws from the triangle between them",
        inputs=(
            Term("low", span.low_frac, "frac"),
            Term("most likely", span.mode_frac, "frac"),
            Term("high", span.high_frac, "frac"),
        ),
        result=Term("share lost, oven-dry", span.mean_frac, "frac"),
        source=tables.sources[row.source].title,
        status=row.status,
        note=row.note,
    )


NO_RANGE = LossRange(0.0, 0.0, 0.0, "", Status.PRACTICE)


def loss_range(tables: Tables, *, stage: str, fibre: str) -> LossRange:
    """Range of the share lost at a stage: the fibre's own row, else the row for any fibre, else no loss."""
    row = _row(tables, stage=stage, fibre=fibre)
    if row is None:
        return NO_RANGE
    low, mode, high = row.dry_loss_low_pct, row.dry_loss_mode_pct, row.dry_loss_high_pct
    return LossRange(
        low_frac=(mode if low is None else low) / 100,
        mode_frac=mode / 100,
        high_frac=(mode if high is None else high) / 100,
        source=row.source,
        status=row.status,
    )


def _row(tables: Tables, *, stage: str, fibre: str) -> StageLoss | None:
    """The fibre's own row of table stage_losses, else the row for any fibre."""
    own = f"{stage}/{tables.fibres[fibre].losses_as}"
    return tables.stage_losses.get(own) or tables.stage_losses.get(f"{stage}/any")


def expected_loss_fracs(tables: Tables, *, stage: str, fibres: Iterable[str]) -> dict[str, Floats]:
    """Mean share lost by fibre [frac], each of shape (1,)."""
    return {f: np.array([loss_range(tables, stage=stage, fibre=f).mean_frac]) for f in sorted(set(fibres))}


def sample_loss_fracs(
    tables: Tables, *, stage: str, fibres: Iterable[str], rng: np.random.Generator, n_samples: int
) -> dict[str, Floats]:
    """Draw shares lost by fibre [frac] from their triangles, each of shape (n,); fibres in sorted order."""
    drawn = {}
    for fibre in sorted(set(fibres)):
        span = loss_range(tables, stage=stage, fibre=fibre)
        if span.low_frac == span.high_frac:
            drawn[fibre] = np.full(n_samples, span.mode_frac)
        else:
            drawn[fibre] = rng.triangular(span.low_frac, span.mode_frac, span.high_frac, n_samples)
    return drawn


def lose(dry_mass_g: Floats, *, share_frac: Floats, held_dry_mass_g: float) -> Lost:
    """Take shares and a hold-up off a mass.

    First each constituent loses its share, ``m_f = d_f (1 - b_f)``; then the machine keeps
    `held_dry_mass_g` of the blend as it stands, ``out_f = m_f (1 - a / sum m)``; a lot lighter than the
    hold-up leaves nothing.

    Parameters
    ----------
    dry_mass_g : ndarray, shape (k, n)
        Oven-dry fibre in [g].
    share_frac : ndarray, shape (k, n)
        Share lost [frac], 0 to below 1.
    held_dry_mass_g : float
        Fibre the machine keeps [g oven-dry], >= 0.

    Raises
    ------
    InputError
        A share outside 0..1 or a negative hold-up.
    """
    _check(share_frac, held_dry_mass_g)
    after_share = dry_mass_g * (1 - share_frac)
    total = after_share.sum(axis=0)
    held_part = np.divide(held_dry_mass_g, total, out=np.ones_like(total), where=total > held_dry_mass_g)
    if held_dry_mass_g == 0:
        held_part = np.zeros_like(total)
    held = after_share * held_part
    return Lost(after_share - held, dry_mass_g * share_frac, held)


def unlose(dry_mass_g: Floats, *, share_frac: Floats, held_dry_mass_g: float) -> Floats:
    """What must go in so that `dry_mass_g` comes out: the exact inverse of `lose` [g oven-dry], shape (k, n).

    ``sum m = sum out + a``, ``m_f = out_f sum m / sum out``, ``d_f = m_f / (1 - b_f)``. Where nothing is
    wanted, nothing goes in.
    """
    _check(share_frac, held_dry_mass_g)
    total = dry_mass_g.sum(axis=0)
    scale = np.divide(total + held_dry_mass_g, total, out=np.zeros_like(total), where=total > 0)
    return np.asarray(dry_mass_g * scale / (1 - share_frac))


def _check(share_frac: Floats, held_dry_mass_g: float) -> None:
    if np.any(share_frac < 0) or np.any(share_frac >= 1):
        raise InputError("share lost", float(np.max(share_frac)), "from 0 to below 1 (100 %)")
    if held_dry_mass_g < 0:
        raise InputError("fibre held in the machine", held_dry_mass_g, "zero or more grams")
