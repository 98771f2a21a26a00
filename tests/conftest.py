"""Puts tests/ on the path, so that shared support is imported as ``support.something``.

Generated examples have no deadline: a busy machine is no fault of the code.
"""

import sys
from pathlib import Path

from hypothesis import settings

sys.path.insert(0, str(Path(__file__).resolve().parent))
settings.register_profile("readoff", deadline=None)
settings.load_profile("readoff")
