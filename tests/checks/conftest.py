"""Lets the check tables of this folder be imported by their plain names."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))
