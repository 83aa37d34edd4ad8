"""What keepers read quotes the example files as they are, and names nothing that is not there."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]
DOCS, EXAMPLES = ROOT / "pinpool/service/docs", ROOT / "pinpool/service/examples"
PAGES = ("keeper.md", "threats.md", "security.md")


def text_of(page: str) -> str:
    return (DOCS / page).read_text(encoding="utf-8")


@pytest.mark.parametrize("file", sorted(EXAMPLES.iterdir()), ids=lambda file: file.name)
def test_each_example_is_quoted_as_it_is(file: Path) -> None:
    quoted = re.findall(r"^```\w+\n(.*?)^```$", text_of("keeper.md"), re.DOTALL | re.MULTILINE)
    assert file.read_text(encoding="utf-8") in quoted


@pytest.mark.parametrize("page", PAGES)
def test_links_lead_somewhere(page: str) -> None:
    for target, _, anchor in (link.partition("#") for link in re.findall(r"\]\(([^)]+)\)", text_of(page))):
        there = (DOCS / target).resolve() if target else DOCS / page
        assert there.exists(), target
        if anchor:
            titles = re.findall(r"^#+ (.+)$", there.read_text(encoding="utf-8"), re.MULTILINE)
            assert anchor in {re.sub(r"[^\w -]", "", title.lower()).replace(" ", "-") for title in titles}, anchor


@pytest.mark.parametrize("page", PAGES)
def test_variables_files_and_commands_exist(page: str) -> None:
    text, settings = text_of(page), (ROOT / "pinpool/settings.py").read_text(encoding="utf-8")
    for variable in set(re.findall(r"\bPINPOOL_[A-Z_]+\b", text)) - {"PINPOOL_ENV"}:  # that one is the script's
        assert f"{variable} " in settings.split('"""')[1], variable
    sources = [path.as_posix() for path in ROOT.rglob("*.py") if ".venv" not in path.parts]
    for file in re.findall(r"`([\w/]+\.py)`", text.replace("`manage.py`", "")):
        assert any(source.endswith(f"/{file}") for source in sources), file
    ours = {path.stem for path in ROOT.glob("*/management/commands/*.py")}
    django = {"changepassword", "clearsessions", "createsuperuser", "shell"}
    for command in re.findall(r"(?:^# pinpool|`pinpool|python manage\.py) ([a-z]+)", text, re.MULTILINE):
        assert command in ours | django, command
