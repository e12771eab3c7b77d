"""Rig files: reading and writing, with every problem located."""

from rigcheck.files.flags import FLAGS, rig_from_flags
from rigcheck.files.rig import LARGEST_FILE, read_rig, rig_from_data, rig_from_text
from rigcheck.files.schema import schema
from rigcheck.files.writing import check_free, write_whole

__all__ = [
    "FLAGS",
    "LARGEST_FILE",
    "check_free",
    "read_rig",
    "rig_from_data",
    "rig_from_flags",
    "rig_from_text",
    "schema",
    "write_whole",
]
