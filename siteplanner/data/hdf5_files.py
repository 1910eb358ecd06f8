"""Whether an HDF5 (netCDF-4) file takes its numbers out of other files, found without the library that would.

Such a data set holds an "External Data Files" message, which points at a local heap of names, or a virtual layout,
which points at the global heap (HDF5 File Format Specification 3.0, sections IV.A.2.h and IV.A.2.i). Messages are never
compressed, so a message of that form whose address leads to such a heap is found among the bytes.
"""

from __future__ import annotations

import mmap
import re
from pathlib import Path

from siteplanner.errors import InputError


def check_own_storage(path: Path) -> None:
    """Raises InputError where a data set of an HDF5 file keeps its numbers in other files."""
    with path.open("rb") as stream, mmap.mmap(stream.fileno(), 0, access=mmap.ACCESS_READ) as data:
        width = data[13] if data[8] < 2 else data[9]  # bytes of an address: superblock, section II.A
        if width not in (4, 8):
            return
        # version 1, three zeros, slots allocated and used; version 3 or 4 of the layout, class 3
        external = rb"\x01\x00\x00\x00(?=(?!\x00\x00)..(?!\x00\x00)..(.{%d}))" % width
        virtual = rb"[\x03\x04](?=\x03(.{%d}))" % width
        for pattern, sign in ((re.compile(external, re.DOTALL), b"HEAP"), (re.compile(virtual, re.DOTALL), b"GCOL")):
            if data.find(sign) < 0:
                continue
            for match in pattern.finditer(data):
                at = int.from_bytes(match.group(1), "little")
                if at < len(data) and data[at : at + 4] == sign:
                    raise InputError("The file takes its numbers out of other files.",
                                     remedy="Export the ground elevation as one GeoTIFF.", file=path)  # fmt: skip
