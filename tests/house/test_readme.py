"""README's tour prints what it says, in order, in one folder."""

from readme_blocks import ROOT, blocks, run, shown


def test_readme_tour(tmp_path):
    found = blocks((ROOT / "README.md").read_text(encoding="utf-8"))
    assert len(found) >= 3
    for match in found:
        output = run(match["command"], tmp_path)
        assert shown(output, len(match["text"].splitlines())) == match["text"], match["command"]
