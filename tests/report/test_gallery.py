"""The README's pictures are those that the named command draws, and small."""

from __future__ import annotations

from pathlib import Path

from ridesim.report.gallery import FOLDER, draw_gallery, gallery

MOST_BYTES = 150_000


def test_pictures_kept_are_the_pictures_drawn(root: Path) -> None:
    kept = {path.name: path.stat().st_size for path in (root / FOLDER).glob("*.png")}
    assert set(kept) == {*gallery(root), "live-page.png"}, "the last is taken by tests/live/picture.py"
    assert max(kept.values()) < MOST_BYTES


def test_the_gallery_draws_itself_anywhere(root: Path, tmp_path: Path, monkeypatch) -> None:
    one = {"commute-road.png": gallery(root)["commute-road.png"]}
    monkeypatch.setattr("ridesim.report.gallery.gallery", lambda project: one)
    (written,) = draw_gallery(root, tmp_path / "pictures")
    assert written.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
