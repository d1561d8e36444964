"""Which engine is used, and what is said about it."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.ears import choose
from assistant.ears.choose import EMBEDDED, GET_VOSK, VARIABLE, VOSK, engines, open_ears


def test_embedded_engine_is_the_default(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(choose, "user_data_dir", lambda name, **_: str(tmp_path / name))
    first, second = engines(environment={})
    assert (first.name, first.usable, first.used) == (EMBEDDED, True, True)
    assert (second.name, second.usable, second.used) == (VOSK, False, False)
    assert GET_VOSK in second.why
    assert "\n" not in GET_VOSK


def test_folder_in_the_environment_is_used(tmp_path: Path) -> None:
    first, second = engines(environment={VARIABLE: str(tmp_path)})
    assert (first.name, first.used, first.folder) == (VOSK, True, tmp_path)
    assert VARIABLE in first.why
    assert not second.used


def test_given_folder_rules_over_the_environment(tmp_path: Path) -> None:
    first, _ = engines(tmp_path / "given", environment={VARIABLE: str(tmp_path)})
    assert first.folder == tmp_path / "given"


def test_folder_among_the_users_models_is_found(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(choose, "user_data_dir", lambda name, **_: str(tmp_path / name))
    model = tmp_path / "combside" / "models" / "vosk-model-small-en-us"
    model.mkdir(parents=True)
    first, _ = engines(environment={})
    assert (first.name, first.folder) == (VOSK, model)


def test_without_the_package_vosk_a_folder_does_not_help(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(choose, "find_spec", lambda name: None)
    first, second = engines(tmp_path, environment={})
    assert first.name == EMBEDDED
    assert "not installed" in second.why


def test_without_any_model_the_reason_is_said(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def missing() -> Path:
        raise FileNotFoundError("the English model is not installed")

    monkeypatch.setattr(choose, "user_data_dir", lambda name, **_: str(tmp_path / name))
    monkeypatch.setattr(choose, "model_folder", missing)
    with pytest.raises(FileNotFoundError, match="not installed"):
        open_ears(environment={})


def test_named_folder_without_a_model_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="holds no Vosk model"):
        open_ears(tmp_path, environment={})
