"""Browsers that print are found where each system has them, and called so that they ask nobody for anything."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.system.conftest import Topic


def program(path: Path) -> str:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("#!/bin/sh\n", encoding="utf-8")
    path.chmod(0o755)
    return str(path)


@pytest.mark.posix("what Linux and macOS call their browsers")
def test_on_the_path_chromium_comes_first_and_each_browser_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from firmware_host.system.processes import installed_browsers

    edge, chromium = (program(tmp_path / "bin" / name) for name in ("microsoft-edge", "chromium"))
    app = program(tmp_path / "Applications" / "Google Chrome.app" / "Contents" / "MacOS" / "Google Chrome")
    monkeypatch.setenv("PATH", str(tmp_path / "bin"))
    monkeypatch.setenv("HOME", str(tmp_path))
    found = list(installed_browsers())
    assert found[:2] == [chromium, edge]
    assert app in found
    monkeypatch.setenv("PATH", str(tmp_path / "nowhere"))
    assert chromium not in list(installed_browsers())


def test_on_windows_they_are_where_their_installers_put_them(
    tmp_path: Path, on_windows: Topic, monkeypatch: pytest.MonkeyPatch
) -> None:
    edge = program(tmp_path / "x86" / "Microsoft" / "Edge" / "Application" / "msedge.exe")
    chrome = program(tmp_path / "own" / "Google" / "Chrome" / "Application" / "chrome.exe")
    for name, folder in (("PROGRAMFILES", "none"), ("PROGRAMFILES(X86)", "x86"), ("LOCALAPPDATA", "own")):
        monkeypatch.setenv(name, str(tmp_path / folder))
    assert list(on_windows("processes").installed_browsers()) == [edge, chrome]
    for name in ("PROGRAMFILES", "PROGRAMFILES(X86)", "LOCALAPPDATA"):
        monkeypatch.delenv(name)
    assert list(on_windows("processes").installed_browsers()) == []


def test_it_prints_in_a_folder_of_its_own_and_knows_no_name_of_another_computer(tmp_path: Path, system: Topic) -> None:
    command = system("processes").printing_command("b", tmp_path / "a page.html", tmp_path / "a.pdf", tmp_path / "own")
    assert command[0] == "b"
    assert command[-1] == (tmp_path / "a page.html").as_uri()
    assert {"--headless", f"--print-to-pdf={tmp_path / 'a.pdf'}", f"--user-data-dir={tmp_path / 'own'}"} <= set(command)
    assert "--host-resolver-rules=MAP * ~NOTFOUND" in command
    as_root = hasattr(os, "geteuid") and os.geteuid() == 0
    assert ("--no-sandbox" in command) <= as_root, "without its sandbox only where it would not start at all"
