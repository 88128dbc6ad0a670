import subprocess
import sys

import pytest


@pytest.mark.parametrize(
    "module", ["levels", "files", "writing", "dither", "weighting", "spectra", "quasi_peak", "bands"]
)
def test_importing_loads_nothing_heavy(module):
    # scipy.signal alone takes longer to import than the whole command line may take to answer --help.
    code = (
        f"import sys, humcheck.audio.{module}; "
        "print([name for name in ('scipy', 'soundfile', 'soxr', 'matplotlib') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
