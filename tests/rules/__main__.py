"""Write docs/rules.md and docs/rules/*.md anew."""

from .examples import pages

for path, text in pages().items():
    path.parent.mkdir(exist_ok=True)
    path.write_text(text, encoding="utf-8")
