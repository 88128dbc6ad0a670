"""Margins against loudness (ISO 532-1, as a general-purpose library has it): a sanity check, not a proof."""

import numpy as np
import pytest
from scipy.stats import spearmanr

from tests.audio.sounds_to_hear import KINDS, RATE_HZ, margin_db, pressure_pa


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_margins_rank_as_loudness_does():
    metrics = pytest.importorskip("mosqito.sq_metrics", reason="needs the extra crosscheck")
    margins, sones = [], []
    for kind in KINDS:
        for level in (10, 30, 50):
            margins.append(margin_db(kind, level))
            sones.append(float(metrics.loudness_zwst(pressure_pa(kind, level), RATE_HZ)[0]))
    margins, sones = np.array(margins), np.array(sones)
    # Loudness also grows with the width of a sound, which the largest excess does not see: no perfect rank.
    assert spearmanr(margins, sones).statistic > 0.9
    assert np.array_equal(margins > 0, sones > 0)
