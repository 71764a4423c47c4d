"""Write safeframe as one file that any Python from 3.11 on runs, without installing anything.

Run: ``python .ci/single_file.py safeframe.pyz``, in an environment in which safeframe is installed.
The file holds the package, its vectors, and construct and crcmod in pure Python, as installed here.
What is compiled stays out: bitstring, numpy and the fast CRC engine; what needs them is not there.
No network and no compiler is needed, neither here nor there.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import zipapp
from importlib import metadata
from pathlib import Path

_ROOT = Path(__file__).resolve().parent.parent
_LIBRARIES = ("construct", "crcmod")
_MAIN = "from safeframe.__main__ import run\nimport sys\nsys.exit(run())\n"
_PYTHON = "/usr/bin/env python3"


def build(target: Path) -> None:
    """Write the archive; its parts have one order and no times of this machine."""
    with tempfile.TemporaryDirectory() as folder:
        room = Path(folder) / "room"
        ignored = shutil.ignore_patterns("__pycache__", "*.pyc")
        shutil.copytree(_ROOT / "safeframe", room / "safeframe", ignore=ignored)
        if not (room / "safeframe" / "vectors").exists():
            shutil.copytree(_ROOT / "vectors" / "published", room / "safeframe" / "vectors")
        for name in _LIBRARIES:
            _copy(name, room)
        (room / "__main__.py").write_text(_MAIN, encoding="utf-8")
        zipapp.create_archive(room, target, interpreter=_PYTHON, compressed=True)


def _copy(name: str, room: Path) -> None:
    """Copy a library as it is installed, with its version and its licence."""
    for file in metadata.files(name) or ():
        text = file.as_posix()
        if text.startswith("..") or "__pycache__" in text or text.endswith((".so", ".pyd")):
            continue
        (room / text).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(str(file.locate()), room / text)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python .ci/single_file.py FILE.pyz")
    build(Path(sys.argv[1]))
