"""What the documents say of commands, options, exit codes, JSON and limits is what is so."""

from __future__ import annotations

import json
import re
import subprocess
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import typer.main

from answers import CUES, answer, estimate, no_engine, sighting
from vision import __version__, photo, records
from vision.cli import CLOSED, app
from vision.cli.archive import STOPPED
from vision.cli.date import SEVERAL_FAILURES
from vision.estimate.strength import SCALE
from vision.guide import builtin_names
from vision.records import NextLook, NotFound, TelltaleError
from vision.report import answer_json

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def commands(group: Any, name: str = "telltale") -> Iterator[tuple[str, Any]]:
    """Every command with its full name."""
    if not hasattr(group, "commands"):
        yield name, group
        return
    for word, command in group.commands.items():
        yield from commands(command, f"{name} {word}")


COMMANDS = dict(commands(typer.main.get_command(app)))


def table(heading: str) -> list[list[str]]:
    """Cells of the first table under a heading of the README, without its head."""
    section = README.partition(f"## {heading}\n")[2].partition("\n## ")[0]
    lines = [line for line in section.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]] for line in lines[2:]]


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_is_in_the_readme(name: str) -> None:
    assert re.search(rf"{name}\b", README)


def test_every_option_of_date_is_in_the_table_and_no_other() -> None:
    own = {opt for p in COMMANDS["telltale date"].params for opt in p.opts if opt.startswith("--")}
    documented = set(re.findall(r"--[a-z]+", " ".join(row[0] for row in table("Dating a photo"))))
    assert documented == own | {"--version", "--help"}


def usage(name: str, command: Any) -> str:
    """A command with its arguments and options, as the README's tables write it."""
    words = [name]
    for p in command.params:
        if p.opts[0].startswith("--"):
            words.append(f"[{p.opts[0]} {p.metavar}]")
        else:
            words.append(p.metavar)
    return " ".join(words)


def test_every_guide_command_is_in_its_table_with_its_options() -> None:
    documented = {re.sub(r"[`\\]", "", row[0]) for row in table("Guides")}
    own = {usage(n, c) for n, c in COMMANDS.items() if n.startswith("telltale guide")}
    assert documented == own


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_is_in_the_readme(name: str) -> None:
    options = {opt for p in COMMANDS[name].params for opt in p.opts if opt.startswith("--")}
    assert {opt for opt in options if not re.search(rf"{opt}\b", README)} == set()


def test_the_words_for_strength_are_those_of_the_scale() -> None:
    section = README.partition("### How strongly a cue speaks\n")[2].partition("\n## ")[0]
    cells = [line.split("|")[1:3] for line in section.splitlines() if line.startswith("| ")]
    rows = [(float(a.replace(",", "")), b.strip()) for a, b in cells if a.strip()[0].isdigit()]
    assert rows == sorted(SCALE)
    for source in ("ENFSI", "Association of Forensic Science Providers", "IPCC"):
        assert source in section


def errors(base: type[TelltaleError]) -> Iterator[type[TelltaleError]]:
    for error in base.__subclasses__():
        yield error
        yield from errors(error)


def test_every_exit_code_is_in_the_table_and_no_other() -> None:
    rows = table("Exit codes")
    codes = [int(row[0]) for row in rows]
    own = {error.exit_code for error in errors(TelltaleError)}
    assert codes == sorted({0, TelltaleError.exit_code, 2, SEVERAL_FAILURES, STOPPED, CLOSED} | own)
    assert all(row[1] for row in rows)


def test_every_error_has_an_exit_code_of_its_own() -> None:
    codes = [error.exit_code for error in errors(TelltaleError)]
    assert len(codes) == len(set(codes))
    assert not {0, 1, 2, SEVERAL_FAILURES, STOPPED, CLOSED} & set(codes)


def key_paths(value: Any, path: str = "") -> Iterator[str]:
    """Every key of nested JSON as a path; positions in lists do not count."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield f"{path}.{key}"
            # Likelihoods are keyed by the guide's own variations.
            if key != "likelihoods":
                yield from key_paths(inner, f"{path}.{key}")
    elif isinstance(value, list):
        for inner in value:
            yield from key_paths(inner, path)


def test_the_json_example_has_exactly_the_keys_that_are_printed() -> None:
    example = json.loads(README.partition("```json\n")[2].partition("```")[0])
    one = answer()
    full = replace(one, photos=(replace(one.photos[0], taken="2021-03-09T17:05:01", notes=("x",)),))
    assert set(key_paths(example)) == set(key_paths(answer_json(full)))


def test_the_keys_that_are_not_always_there_are_named() -> None:
    several = replace(
        answer(),
        photos=answer().photos * 2,
        sightings=(NotFound("dark"), sighting()),
        cues=(replace(CUES[0], source="person"),),
        estimate=replace(estimate(), look_next=(NextLook("x", "", 0.1, True, None, "Mind."),)),
    )
    always = set(key_paths(answer_json(answer())))
    extra = set(key_paths(answer_json(several))) | set(key_paths(answer_json(no_engine())))
    # Each of the sightings has the keys of a sighting.
    new = {path for path in extra - always if not path.startswith(".sightings.")}
    section = README.partition("Not always there:")[2].partition("\n\n")[0]
    named = set(re.findall(r"`(\w+)`", section))
    assert new
    assert {path.rpartition(".")[2] for path in new | {".sightings"}} <= named


def test_every_cue_is_named() -> None:
    for name in records.PHOTO_CUES:
        assert f"`{name}`" in README


def test_the_limits_are_those_of_the_decoder() -> None:
    assert f"more than {photo.MAX_PIXELS // 1_000_000} megapixels" in README
    assert f"or {photo.MAX_BYTES // 1_000_000} MB" in README
    assert f"fewer than {photo.MIN_SIDE_PX} pixels on a side" in README
    assert f"longer side has {2 * photo.WORKING_SIDE_PX} pixels or more" in README


def test_the_built_in_guides_are_named() -> None:
    for name in builtin_names():
        assert f"`{name}`" in README


def test_every_environment_variable_is_named() -> None:
    texts = [path.read_text(encoding="utf-8") for path in (ROOT / "vision").rglob("*.py")]
    heeded = {name for text in texts for name in re.findall(r'"(TELLTALE_\w+|NO_COLOR)"', text)}
    assert "NO_COLOR" in heeded
    assert {name for name in heeded if f"`{name}`" not in README} == set()


def test_the_cautions_are_in_the_readme() -> None:
    section = README.partition("Before you take an engine in the hand")[2].partition("\n")[0]
    for word in ("unplug", "insulation", "live parts", "lead", "licensed electrician", "codes"):
        assert word in section


def marked(marker: str) -> list[str]:
    """The lines of the code block under a marker of the README."""
    block = README.partition(f"<!-- {marker} -->\n```sh\n")[2].partition("\n```")[0]
    return block.splitlines()


def test_set_up_is_two_commands_of_one_line() -> None:
    for marker in ("the demo command", "the test command"):
        (line,) = marked(marker)
        assert line.startswith("python3 -m venv .venv && ")
        assert "--constraint constraints.txt" in line


def test_ci_runs_the_readmes_own_test_command() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    extract = re.search(r"^command=\$\((.*)\)$", script, re.MULTILINE)
    assert extract is not None
    shown = subprocess.run(
        ["bash", "-c", extract[1]], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert shown.stdout.splitlines() == marked("the test command")


def test_developers_and_ci_name_the_same_tools() -> None:
    developers = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    for command in (".venv/bin/ruff check .", ".venv/bin/mypy"):
        assert command in developers
        assert command in script
    assert ".venv/bin/ruff format ." in developers
    assert ".venv/bin/ruff format --check ." in script


def test_the_changelog_begins_with_this_version() -> None:
    """What is to come stands above it, under "Unreleased" (Keep a Changelog 1.1.0)."""
    text = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    headings = re.findall(r"^## (\S+)", text, re.MULTILINE)
    released = headings[1:] if headings[0] == "Unreleased" else headings
    assert released[0] == __version__


def required(extra: str | None) -> list[str]:
    project = PROJECT["project"]
    wanted = project["optional-dependencies"][extra] if extra else project["dependencies"]
    return [re.split(r"[<>=!~ \[]", requirement)[0] for requirement in wanted]


def test_every_requirement_is_pinned() -> None:
    text = (ROOT / "constraints.txt").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    assert all(re.fullmatch(r"[A-Za-z0-9._-]+==[0-9][A-Za-z0-9.]*", line) for line in lines)
    pinned = {line.partition("==")[0].lower().replace("_", "-") for line in lines}
    for extra in (None, "archive", "dev", "heic", "page", "studio"):
        assert set(required(extra)) <= pinned


def test_each_ignored_rule_says_why() -> None:
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    block = text.partition("\nignore = [\n")[2].partition("\n]")[0]
    assert block
    assert all("# " in line for line in block.splitlines())


def test_every_file_that_a_text_names_is_there() -> None:
    """A figure's origin is worth nothing if the file that is named for it is gone."""
    texts = [ROOT / "README.md", ROOT / "DEVELOPERS.md"]
    texts += [*(ROOT / "vision").rglob("*.py"), *(ROOT / "tests").glob("*.py")]
    named = {
        (name, text.name)
        for text in texts
        for name in re.findall(r"\b(?:tests|tools|vision)/[\w/]+\.py\b", text.read_text("utf-8"))
    }
    assert len(named) > 10
    assert sorted(pair for pair in named if not (ROOT / pair[0]).exists()) == []
