"""What the README shows is true: its example compiles, its commands are the ones that run."""

import re
from pathlib import Path

import pytest

from choreo.cli import COMMANDS, main

README = (Path(__file__).resolve().parents[1] / "README.md").read_text(encoding="utf-8")


def block(language):
    return re.search(rf"```{language}\n(.*?)```", README, re.DOTALL).group(1)


def test_the_example_project_compiles(tmp_path, capsys):
    (tmp_path / "assembly.json").write_text(block("json"), encoding="utf-8")
    (tmp_path / "choreography.toml").write_text(block("toml"), encoding="utf-8")
    assert main(["check", str(tmp_path)]) == 0
    assert main(["compile", str(tmp_path)]) == 0
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["report.json", "strip.svg", "tracks.json"]
    assert "strip.svg" in capsys.readouterr().out


def test_there_are_exactly_two_set_up_commands():
    commands = re.findall(r"<!-- (\w+) command -->\n```sh\n(.*?)\n```", README)
    assert [name for name, _ in commands] == ["demo", "test"]
    assert all("\n" not in command for _, command in commands)
    assert commands[0][1].endswith("choreo page demo_assemblies/headlamp")
    assert commands[1][1].endswith("pytest -n auto")


def test_every_option_named_exists(capsys):
    block = re.search(r"## Commands\n\n(.*?)\n\n\S", README, re.DOTALL)[1]
    checked = 0
    for said in re.split(r"\n(?= {4}\S)", "\n" + block):
        head = said.strip().split("\n")[0]
        commands = re.match(r"choreo (\w[\w-]*)", head)
        names = [commands[1]] if commands else re.findall(r"\w+", head.removesuffix(":")) if head.endswith(":") else []
        for name in set(names) & {command.name for command in COMMANDS}:
            with pytest.raises(SystemExit) as done:
                main([name, "--help"])
            assert done.value.code == 0
            offered = capsys.readouterr().out
            for line in re.findall(r"^ {8}(--\S.*?)(?:  |$)", said, re.MULTILINE):
                for option in re.findall(r"--[\w-]+", line):
                    assert f"{option} " in offered or f"{option}\n" in offered, f"{name} {option}"
                    checked += 1
    assert checked >= 6


def test_its_pictures_are_there():
    root = Path(__file__).resolve().parents[1]
    shown = re.findall(r"!\[([^\]]+)\]\(([^)]+)\)", README)
    assert {Path(file).stem for _, file in shown} == {"page", "strip"}
    for said, file in shown:
        assert len(said) > 30
        assert 10_000 < (root / file).stat().st_size < 300_000
