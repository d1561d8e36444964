"""Korean spelling to sounds, against the worked examples of the standard."""

from __future__ import annotations

import pytest

from assistant.ears.hangul import sounds
from assistant.ears.pronunciations import pronounceable


@pytest.mark.parametrize(
    ("spelled", "spoken"),
    [
        # a final before a silent initial
        ("깎아", "까까"), ("옷이", "오시"), ("있어", "이써"), ("낮이", "나지"), ("꽂아", "꼬자"), ("꽃을", "꼬츨"),
        ("쫓아", "쪼차"), ("밭에", "바테"), ("앞으로", "아프로"), ("덮이다", "더피다"),
        # seven finals
        ("키읔", "키윽"), ("옷", "옫"), ("꽃", "꼳"), ("솥", "솓"), ("앞", "압"), ("젖", "젇"), ("넋", "넉"), ("외곬", "외골"),
        ("닭", "닥"), ("삶", "삼"),
    ],
)  # fmt: skip
def test_the_examples_of_the_standard_pronunciation(spelled: str, spoken: str) -> None:
    """Standard Pronunciation of Korean, articles 9 to 11 and 13 with their own examples (from memory)."""
    assert sounds(spelled) == sounds(spoken)


def test_different_sounds_stay_different_and_other_signs_have_none() -> None:
    assert sounds("왼쪽") != sounds("오른쪽")
    assert sounds("물") == ("\u1106", "\u116e", "l")
    assert sounds("아이") == ("\u1161", "\u1175")
    assert sounds("") is None and sounds("combside") is None
    assert set(pronounceable(["물", "12"], "ko")) == {"물"}
    assert pronounceable(["water"], "xx") == {}
