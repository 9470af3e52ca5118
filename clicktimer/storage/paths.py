"""Where listening folders go when nobody says: the documents folder, named by date and site, never one in use."""

from __future__ import annotations

import os
import re
from datetime import datetime
from pathlib import Path


def documents_folder(home: Path | None = None) -> Path:
    """The user's documents folder, as the desktop names it, or the home folder where there is none."""
    home = home or Path.home()
    config = Path(os.environ.get("XDG_CONFIG_HOME") or home / ".config") / "user-dirs.dirs"
    try:
        named = re.search(r'^XDG_DOCUMENTS_DIR="([^"]+)"', config.read_text("utf-8", "replace"), re.MULTILINE)
    except OSError:
        named = None
    places = [Path(named[1].replace("$HOME", str(home)))] if named else []
    for place in (*places, home / "Documents"):
        if place.is_dir():
            return place
    return home


def new_folder(began: datetime, site: str | None = None, parent: Path | None = None) -> Path:
    """A path that does not exist yet: "clicktimer 2031-05-04 06.30 Hillside" (no folder is made)."""
    name = f"clicktimer {began:%Y-%m-%d %H.%M}"
    safe = " ".join(re.sub(r"[^\w .-]+", " ", site or "").split()).strip(" .")
    if safe:
        name += f" {safe[:40].strip()}"
    parent = parent or documents_folder()
    path, number = parent / name, 1
    while path.exists():
        number += 1
        path = parent / f"{name} ({number})"
    return path
