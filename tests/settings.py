"""Settings of the tests: those of Doffer, in a data folder of their own that is thrown away."""

import os
import tempfile
from pathlib import Path

_FOLDER = tempfile.TemporaryDirectory(prefix="doffer-tests-")
os.environ["TZ"] = "UTC"  # the hours that tests read; programs they start take it over
os.environ["DOFFER_ROOT"] = _FOLDER.name
os.environ["DOFFER_DATA"] = str(Path(_FOLDER.name) / "mill")

# Programs that tests start find the package as the tests do.
os.environ["PYTHONPATH"] = str(Path(__file__).parents[1] / "src")

from doffer.settings import *  # noqa: E402, F403
