#!/usr/bin/python3
"""A whole job on the demo drives in the format "folder": see _demo_job.py."""

import _demo_job

_demo_job.main("folder")
