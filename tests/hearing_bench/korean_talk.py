"""Invented everyday sentences in Korean, none of them a command: by a learner's grammar, checked by nobody who speaks it."""

from __future__ import annotations

import numpy as np

WHO = ("우리 언니가", "옆집 아저씨가", "선생님이", "동생이", "친구가", "할머니가", "그 사람이", "강아지가")
WHEN = ("어제", "오늘 아침에", "지난주에", "점심을 먹고", "비가 올 때", "밤에")
DID = (
    "버스를 놓쳤어", "책을 읽었어", "노래를 불렀어", "사진을 찍었어", "감기에 걸렸어", "창문을 닦았어", "머리를 잘랐어",
    "물을 마셨어", "밥을 먹었어", "길에서 넘어졌어", "일을 그만두었어", "새 신발을 샀어", "시장에 갔어",
    "문을 열어 두었어", "손을 씻었어", "불을 껐어", "시계를 잃어버렸어", "집에 돌아왔어",
)  # fmt: skip
ASIDE = (
    "오늘 날씨가 참 좋다", "라디오에서 무슨 노래가 나와", "저녁에 뭐 먹을까", "다음 버스는 아홉 시에 온다",
    "그 영화는 정말 재미있었어", "우리 내일 산에 갈까", "전화가 왔는데 못 받았어", "바람이 많이 불어서 추워",
    "커피가 너무 뜨거워서 못 마시겠어", "여기 앉아도 괜찮아", "아직 잘 모르겠어", "눈이 많이 와서 길이 미끄러워",
    "아이스크림을 먹고 싶어", "왼쪽 길로 가면 학교가 있어", "물이 차가워서 좋다", "숨이 차도록 뛰었어",
)  # fmt: skip


def everyday(count: int) -> list[str]:
    """`count` sentences, the same every time."""
    rng = np.random.default_rng(11)

    def one(row: tuple[str, ...]) -> str:
        return row[int(rng.integers(len(row)))]

    return [one(ASIDE) if rng.random() < 0.4 else f"{one(WHO)} {one(WHEN)} {one(DID)}" for _ in range(count)]
